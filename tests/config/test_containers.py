"""The containers, as far as can be checked without an engine: what they are given, their limits, how they start."""

import ast
import os
import re
import shlex
import subprocess
import sys
import time
import tomllib
from urllib.parse import urlsplit

import pytest
import redis
import yaml
from celery import current_app
from celery.bin.celery import celery
from django.conf import settings
from django.core.management import get_commands, load_command_class
from django.utils import timezone
from redis.backoff import NoBackoff
from redis.retry import Retry

from config.dev.broker import broker_program
from config.dev.home import ROOT
from config.dev.process import free_port
from config.quotas import DEFAULTS
from tastings.jobs import Job
from tastings.queues import Queue, queues
from tests.config.launching import clean_environment
from tests.tastings.workers import running_worker, wait_for

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES = COMPOSE["services"]
OURS = {name: service for name, service in SERVICES.items() if service["image"] == "leafspan"}
COMMON = COMPOSE["x-leafspan"]["environment"]
"""What all of ours are given; each adds what it alone needs."""
OF_ITS_OWN = {
    "migrate": {
        "DATABASE_URL",
        "LEAFSPAN_WEB_PASSWORD",
        "LEAFSPAN_WORKER_PASSWORD",
        "LEAFSPAN_REPLICATION_PASSWORD",
    },
    "web": {"DATABASE_URL", "DATABASE_REPLICA_URL"},
    "web-2": {"DATABASE_URL", "DATABASE_REPLICA_URL"},
    "worker": {"DATABASE_URL"},
    "worker-2": {"DATABASE_URL"},
    "fresh": {"DATABASE_URL"},
    "beat": set(),
}
NETWORKS = {
    "postgres": {"database"},
    "replica": {"database"},
    "objects": {"objects"},
    "broker": {"queue"},
    "migrate": {"database", "objects"},
    "web": {"front", "database", "queue", "objects"},
    "web-2": {"front", "database", "queue", "objects"},
    "worker": {"outside", "database", "queue", "objects"},
    "worker-2": {"outside", "database", "queue", "objects"},
    "fresh": {"outside", "database", "queue", "objects"},
    "beat": {"queue"},
}
CLUSTER = {"replica", "objects", "web-2", "worker-2"}
"""What the profile ``cluster`` adds."""
IMAGES = {"LEAFSPAN_POSTGRES_IMAGE", "LEAFSPAN_BROKER_IMAGE", "LEAFSPAN_PYTHON_IMAGE", "LEAFSPAN_OBJECTS_IMAGE"}
BUCKET = {"AWS_ENDPOINT_URL", "AWS_REGION", "AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY", "AWS_ALLOW_HTTP"}
NOT_OURS = {"OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"} | BUCKET
"""Read by the linear algebra and by the client of the object store."""
NAMES = r"LEAFSPAN_[A-Z_]+|DATABASE_URL|DATABASE_REPLICA_URL|REDIS_URL"
FOR_THE_DESK = {
    "LEAFSPAN_BROKER_PROGRAM",
    "LEAFSPAN_CHROMIUM",
    "LEAFSPAN_DEBUG",
    "LEAFSPAN_PASSWORD",
    "LEAFSPAN_POSTGRES_BIN",
    "LEAFSPAN_ADMIN_CODE",
    "LEAFSPAN_START_CODE",
    "LEAFSPAN_TO_DATABASE_URL",
    "LEAFSPAN_TO_PHOTOS",
}
"""What a server for real use is not given."""


def names_read():
    """Return the names of our own that are looked up anywhere in the environment."""
    found = set()
    for file in (ROOT / "config").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.Constant) and re.fullmatch(NAMES, str(node.value)):
                found.add(str(node.value))
    quotas = {f"LEAFSPAN_QUOTA_{name.upper()}" for name in DEFAULTS}
    return found - {"LEAFSPAN_CHILD_OF", "LEAFSPAN_QUOTA_"} | quotas


def test_there_is_all_that_is_needed():
    assert set(SERVICES) == {"postgres", "broker", "migrate", "web", "worker", "fresh", "beat"} | CLUSTER
    assert set(OURS) == set(SERVICES) - {"postgres", "broker", "replica", "objects"}
    assert {name for name, service in SERVICES.items() if service.get("profiles") == ["cluster"]} == CLUSTER
    assert all("profiles" not in service for name, service in SERVICES.items() if name not in CLUSTER)


def test_profile_adds_a_second_of_web_and_worker_that_differs_in_nothing_else():
    for name, second in (("web", "web-2"), ("worker", "worker-2")):
        own = {"profiles": ["cluster"]} | ({"ports": SERVICES["web-2"]["ports"]} if name == "web" else {})
        assert SERVICES[second] == SERVICES[name] | own


def test_profile_has_one_database_copied_and_one_store_of_photos():
    replica, primary, objects = SERVICES["replica"], SERVICES["postgres"], SERVICES["objects"]
    assert (replica["image"], replica["networks"]) == (primary["image"], primary["networks"])
    assert replica["volumes"] != primary["volumes"]
    assert "LEAFSPAN_REPLICATION_PASSWORD" in replica["environment"]["PGPASSWORD"]
    assert {name: objects["environment"][name] for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY")} == {
        "AWS_ACCESS_KEY_ID": None, "AWS_SECRET_ACCESS_KEY": None,  # what the environment has, as for the clients
    }  # fmt: skip
    documented = (ROOT / "docs" / "running.md").read_text()
    bucket = objects["environment"]["S3_BUCKET"]
    assert f"LEAFSPAN_PHOTO_BUCKET=s3://{bucket}/" in documented
    assert "AWS_ENDPOINT_URL=http://objects:8333" in documented
    assert "@replica:5432/leafspan" in documented


def test_every_variable_is_known_to_the_settings_and_every_setting_can_be_given():
    given = set(COMMON).union(*OF_ITS_OWN.values())
    assert given - NOT_OURS == names_read() - FOR_THE_DESK
    for name, service in OURS.items():
        own = {key: value for key, value in service["environment"].items() if COMMON.get(key) != value}
        assert set(own) == OF_ITS_OWN[name], name
        assert service["environment"].keys() >= COMMON.keys()


def test_each_process_signs_in_with_a_login_of_its_own():
    logins = {name: urlsplit(re.sub(r"\$\{(\w+)[^}]*\}", r"\1", service["environment"]["DATABASE_URL"]))
              for name, service in OURS.items() if "DATABASE_URL" in service["environment"]}  # fmt: skip
    assert {name: (url.username, url.password) for name, url in logins.items()} == {
        "migrate": ("leafspan", "POSTGRES_PASSWORD"),
        "web": ("leafspan_web", "LEAFSPAN_WEB_PASSWORD"),
        "web-2": ("leafspan_web", "LEAFSPAN_WEB_PASSWORD"),
        "worker": ("leafspan_worker", "LEAFSPAN_WORKER_PASSWORD"),
        "worker-2": ("leafspan_worker", "LEAFSPAN_WORKER_PASSWORD"),
        "fresh": ("leafspan_worker", "LEAFSPAN_WORKER_PASSWORD"),
    }
    assert "manage.py database_logins" in SERVICES["migrate"]["command"][-1]


def test_each_has_limits_of_memory_processor_and_processes():
    for name, service in SERVICES.items():
        assert re.fullmatch(r"[1-9]\d*[mg]", service["mem_limit"]), name
        assert 0 < float(service["cpus"]) <= 2, name
        assert 0 < service["pids_limit"] <= 200, name


def test_each_reaches_only_what_it_needs():
    assert {name: set(service["networks"]) for name, service in SERVICES.items()} == NETWORKS
    assert {name for name, network in COMPOSE["networks"].items() if (network or {}).get("internal")} == {
        "database", "queue", "objects",
    }  # fmt: skip
    assert set(COMPOSE["networks"]) == set.union(*NETWORKS.values())


def test_broker_asks_for_its_password(tmp_path):
    shell, option, script, *arguments = SERVICES["broker"]["command"]
    (tmp_path / "valkey-server").symlink_to(broker_program(os.environ))
    port = free_port()
    server = subprocess.Popen(
        [shell, option, script.replace("$$", "$"), *arguments, "--port", str(port), "--bind", "127.0.0.1"],
        cwd=tmp_path, env={"PATH": f"{tmp_path}:{os.environ['PATH']}", "BROKER_PASSWORD": "of the test"},
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        until = time.monotonic() + 60
        once = Retry(NoBackoff(), retries=0)
        known = redis.Redis(port=port, password="of the test", retry=once)
        while True:
            try:
                known.ping()
                break
            except redis.ConnectionError:
                assert time.monotonic() < until
                time.sleep(0.05)
        with pytest.raises(redis.AuthenticationError):
            redis.Redis(port=port, retry=once).ping()
        assert known.config_get("appendonly")["appendonly"] == "yes"
    finally:
        server.terminate()
        server.wait(timeout=60)
    assert re.match(r"redis://:\$\{BROKER_PASSWORD:\?[^}]*\}@broker:6379/", COMMON["REDIS_URL"])


def test_image_holds_what_running_takes_and_nothing_of_developing():
    dockerfile = (ROOT / "config" / "Dockerfile").read_text()
    assert re.findall(r"pip install.* -r (\S+)", dockerfile) == ["/requirements.txt"]
    assert re.findall(r"^COPY (\S+) /requirements.txt", dockerfile, re.MULTILINE) == ["config/requirements.txt"]
    assert "--require-hashes" in dockerfile
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    developing = {re.split(r"[>=<\[]", one)[0].lower() for one in project["optional-dependencies"]["dev"]}
    installed = {name.lower() for name in re.findall(r"^([\w.-]+)==", (ROOT / "config/requirements.txt").read_text(),
                                                     re.MULTILINE)}  # fmt: skip
    assert {"pytest", "mypy", "ruff"} <= developing
    assert developing & installed == set()
    compiled = dockerfile.index("RUN python -m compileall -q /app")  # nothing can be written once it runs
    assert compiled > dockerfile.index("COPY . /app")


def test_only_what_is_named_gets_into_the_image():
    first, *rules = re.findall(r"^[^#\n].*", (ROOT / ".dockerignore").read_text(), re.MULTILINE)
    assert first == "*"
    named = {rule.removeprefix("!") for rule in rules if rule.startswith("!")}
    packages = {file.parent.name for file in ROOT.glob("*/__init__.py")} - {"tests", "benchmarks"}
    assert named == packages | {"manage.py", "docs"}, "the guide for clients is a page made from docs"
    assert set(rules[len(named) :]) == {"**/__pycache__", "**/.*"}
    # BuildKit takes a file of this name instead, older builders and others do not know it
    assert not (ROOT / "config" / "Dockerfile.dockerignore").exists()
    assert ".env" in (ROOT / ".gitignore").read_text().split()


def test_every_image_is_pinned_by_its_digest():
    asked = {service["image"] for service in SERVICES.values()} - {"leafspan"}
    asked |= set(COMPOSE["x-leafspan"]["build"]["args"].values())
    pinned = dict(
        re.fullmatch(r"\$\{(\w+):-([\w./]+:[\w.-]+@sha256:[0-9a-f]{64})\}", image).groups() for image in asked
    )
    assert set(pinned) == IMAGES
    dockerfile = (ROOT / "config" / "Dockerfile").read_text()
    assert set(re.findall(r"^FROM (\S+)", dockerfile, re.MULTILINE)) == {"${PYTHON_IMAGE}"}
    assert re.findall(r"^ARG PYTHON_IMAGE=(\S+)", dockerfile, re.MULTILINE) == [pinned["LEAFSPAN_PYTHON_IMAGE"]]
    documented = (ROOT / "docs" / "running.md").read_text()
    assert [name for name in IMAGES if f"{name}=" not in documented] == [], "the command that names newer images"


def test_every_setting_of_the_containers_is_documented():
    text = (ROOT / "docker-compose.yml").read_text()
    documented = (ROOT / "docs" / "running.md").read_text()
    asked = set(re.findall(r"\$\{([A-Z_]+)", text))
    own = set(COMMON).union(*OF_ITS_OWN.values())
    assert asked <= own | IMAGES | {"POSTGRES_PASSWORD", "BROKER_PASSWORD", "PORT", "SECOND_PORT"}
    assert [name for name in sorted(asked | {"LEAFSPAN_LOGS"}) if not re.search(rf"\b{name}\b", documented)] == []


def test_secrets_come_from_the_environment_alone():
    for service in SERVICES.values():
        for name, value in service["environment"].items() if "environment" in service else ():
            if re.search("PASSWORD|SECRET|TOKEN|_MAIL$", name):
                # without a value: what the environment has
                assert value is None or re.fullmatch(r"\$\{[A-Z_]+:[?-][^}]*\}", value), name


@pytest.mark.parametrize("name", SERVICES)
def test_nothing_runs_as_root_or_writes_where_it_need_not(name):
    service = SERVICES[name]
    assert service["read_only"] is True
    assert (service["cap_drop"], service["security_opt"]) == (["ALL"], ["no-new-privileges:true"])
    assert not service.keys() & {"privileged", "cap_add", "network_mode", "pid", "devices"}
    if name in OURS:
        dockerfile = (ROOT / "config" / "Dockerfile").read_text()
        assert re.findall(r"^USER (.*)", dockerfile, re.MULTILINE)[-1] == "leafspan"
        assert service.get("user") is None
    else:
        assert service["user"] not in ("root", "0")


def test_only_the_web_servers_are_reached_and_from_this_machine_alone():
    assert {name: service["ports"] for name, service in SERVICES.items() if "ports" in service} == {
        "web": ["127.0.0.1:${PORT:-8000}:8000"],
        "web-2": ["127.0.0.1:${SECOND_PORT:-8001}:8000"],
    }


def test_all_start_again_and_tell_how_they_are():
    steps = {name for name, service in SERVICES.items() if service["restart"] == "no"}
    assert steps == {"migrate"}
    assert all(service["restart"] == "unless-stopped" for name, service in SERVICES.items() if name not in steps)
    assert all("test" in service["healthcheck"] for name, service in SERVICES.items() if name not in steps)


def test_migrations_are_done_before_anything_of_ours_starts():
    assert SERVICES["migrate"]["depends_on"] == {"postgres": {"condition": "service_healthy"}}
    for name in OURS.keys() - {"migrate"}:
        wanted = {
            "migrate": {"condition": "service_completed_successfully"},
            "postgres": {"condition": "service_healthy"},  # stopped after them, since they depend on it themselves
            "broker": {"condition": "service_healthy"},
        }
        assert OURS[name]["depends_on"] == wanted


def test_what_web_and_worker_share_they_share():
    assert [OURS[name]["volumes"] for name in ("migrate", "web", "worker", "fresh")] == [["photos:/photos"]] * 4
    assert COMMON["LEAFSPAN_PHOTOS"] == "/photos"
    volumes = {volume.split(":")[0] for service in SERVICES.values() for volume in service.get("volumes", ())}
    assert volumes == set(COMPOSE["volumes"])


def test_web_server_takes_its_settings(tmp_path):
    command = [word for word in SERVICES["web"]["command"][1:] if word != "/tmp"]  # noqa: S108 - the container's
    command.remove("--worker-tmp-dir")
    run = subprocess.run(
        [sys.executable, "-m", "gunicorn", "--check-config", "--print-config", *command],
        cwd=ROOT, env=clean_environment(tmp_path), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "Warning" not in run.stderr, "its log is lines of JSON"
    options = dict(re.findall(r"^(\w+) +=? *(.*)$", run.stdout, re.MULTILINE))
    assert options["worker_class"] == "config.web.connections.Worker"
    assert int(options["graceful_timeout"]) + 10 == int(SERVICES["web"]["stop_grace_period"].removesuffix("s"))


def test_options_of_every_celery_are_known():
    commands = [SERVICES[name]["command"] for name in ("worker", "worker-2", "fresh", "beat")]
    commands += [shlex.split(service["healthcheck"]["test"][1].replace("$$HOSTNAME", "host"))
                 for name, service in OURS.items() if name in ("worker", "worker-2", "fresh")]  # fmt: skip
    for program, *words in commands:
        assert program == "celery"
        group = celery.make_context(program, list(words))
        _, command, rest = celery.resolve_command(group, [*group._protected_args, *group.args])
        command.make_parser(group).parse_args(rest)  # raises on an option that it does not have


def test_commands_of_the_step_before_all_others_exist():
    steps = SERVICES["migrate"]["command"][-1].split(" && ")
    for words in map(shlex.split, steps):
        assert words[:2] == ["python", "manage.py"]
        found = load_command_class(get_commands()[words[2]], words[2])
        found.create_parser("manage.py", words[2]).parse_args(words[3:])


def queues_of(command):
    return {command[command.index("--queues") + 1]} if "--queues" in command else {queue.value for queue in Queue}


def test_every_queue_has_a_worker():
    assert set.union(*(queues_of(OURS[name]["command"]) for name in ("worker", "fresh"))) == set(Queue)
    assert set(settings.CELERY_TASK_QUEUES) == set(Queue)
    routes = settings.CELERY_TASK_ROUTES
    assert routes.keys() <= {job.value for job in Job}
    assert {route["queue"] for route in routes.values()} == {Queue.STEADY}
    assert sorted(queue.value for queue in Queue) == [Queue.FRESH, Queue.STEADY]  # as the transport takes them


@pytest.mark.django_db(transaction=True)
def test_the_worker_for_what_someone_waits_for_takes_nothing_else(tmp_path):
    current_app.control.purge()
    for queue in Queue:
        current_app.send_task(Job.DUE_PHOTOS.value, queue=queue.value)
    log, command = tmp_path / "log", SERVICES["fresh"]["command"]
    with running_worker(log, *command, PYTHONWARNINGS="ignore", LEAFSPAN_LOGS="json") as worker:
        wait_for(lambda: Job.DUE_PHOTOS.value in log.read_text(), worker=worker)
    assert {queue: state.length for queue, state in queues(now=timezone.now()).items()} == {
        Queue.FRESH: 0, Queue.STEADY: 1,
    }  # fmt: skip
    current_app.control.purge()
