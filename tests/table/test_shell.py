"""The app's page, manifest and service worker, and the libraries that are part of the app."""

import gzip
import hashlib
import json
import re
import shutil
import subprocess

import pytest
from django.test import Client

from config.settings import BASE_DIR
from table import shell

VENDOR = shell.FILES / "vendor"


@pytest.fixture
def client(db):
    return Client()


def test_vendored_files_are_those_that_were_recorded():
    recorded = {one["file"]: one for one in json.loads((VENDOR / "vendor.json").read_text())}
    found = {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest()
        for file in VENDOR.iterdir()
        if file.suffix in (".js", ".ts")
    }

    assert found == {name: one["sha256"] for name, one in recorded.items()}
    assert all(one["version"] and one["licence"] and one["name"] for one in recorded.values())
    for name in recorded:
        assert (VENDOR / "licences" / f"{name.split('.')[0]}.txt").read_text().strip()


def test_shell_is_at_most_120_kb_compressed():
    files = [shell.FILES.parent / name for name in shell.shell_files()] + [shell.PAGE, shell.WORKER]

    assert sum(len(gzip.compress(file.read_bytes())) for file in files) <= 120_000


def test_types_of_the_data_modules():
    if not (compiler := shutil.which("tsc")):
        pytest.skip("NO TSC: the types of the app's data modules are not checked")
    done = subprocess.run([compiler, "-p", shell.ROOM / "tsconfig.json"], capture_output=True, text=True, check=False)

    assert done.stdout == ""
    assert done.returncode == 0


def test_page_has_nothing_inline_and_a_policy_with_trusted_types(client):
    answer = client.get("/table/")
    policy, page = answer["Content-Security-Policy"], answer.content.decode()

    assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self';")
    assert "require-trusted-types-for 'script'" in policy
    assert "unsafe" not in policy
    assert not re.search(r"<script(?! type=\"module\" src=)|<style|\sstyle=|\son[a-z]+=", page)
    assert answer["Cache-Control"] == "no-cache"


def test_page_gives_the_browser_a_form_token(client):
    """The app needs it to ask for a token of its own from a browser's session."""
    assert client.get("/table/").cookies["csrftoken"].value


def test_worker_may_fetch_and_lists_every_file_by_its_digest(client):
    answer = client.get("/table/sw.js")
    text = answer.content.decode()
    files = json.loads(re.search(r"const FILES = (\{.*?\});", text, re.DOTALL)[1])

    assert answer["Content-Type"].startswith("text/javascript")
    assert "connect-src 'self'" in answer["Content-Security-Policy"]
    assert files.keys() >= {"/static/table/data/store.js", "/static/table/vendor/preact.js"}
    for address, digest in files.items():
        file = shell.FILES / address.removeprefix("/static/table/")
        assert hashlib.sha256(file.read_bytes()).hexdigest() == digest


def test_page_and_worker_are_of_one_version_that_changes_with_any_file(client, tmp_path, monkeypatch):
    version = re.search(r'const VERSION = "(\w+)"', client.get("/table/sw.js").content.decode())[1]
    assert f'content="{version}"' in client.get("/table/").content.decode()

    changed = tmp_path / "service_worker.js"
    changed.write_text(shell.WORKER.read_text() + "\n")
    monkeypatch.setattr(shell, "WORKER", changed)
    assert shell.shell_version() != version


def test_manifest_lets_the_app_be_installed(client):
    answer = client.get("/table/manifest.webmanifest")
    manifest = json.loads(answer.content)

    assert answer["Content-Type"] == "application/manifest+json"
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/table/", "/table/", "standalone")
    assert {icon["sizes"] for icon in manifest["icons"]} >= {"192x192", "512x512"}
    for icon in manifest["icons"]:
        assert (shell.FILES / icon["src"].removeprefix("/static/table/")).is_file()


@pytest.mark.parametrize("address", ["/table/", "/table/sw.js", "/table/manifest.webmanifest"])
def test_nothing_can_be_posted(client, address):
    assert client.post(address).status_code == 405


def test_colours_of_the_app_are_those_of_the_pages():
    """Each has them in its own file: a shared one would cost every page a request more and the app's shell bytes."""

    def colours(file):
        light, dark = file.read_text().partition("color-scheme: dark")[::2]
        return [
            dict(re.findall(r"(--[\w-]+): (#\w+);", part.partition("}")[0]))
            for part in (light[light.index(":root") :], dark)
        ]

    pages = colours(BASE_DIR / "pages/static/pages/leafspan.css")
    app = colours(shell.FILES / "style.css")
    assert all(len(one) > 10 for one in app)
    assert app == [{name: of_pages[name] for name in of_app} for of_pages, of_app in zip(pages, app, strict=True)]
