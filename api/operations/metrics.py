"""What is counted here, for a Prometheus server to fetch at ``/metrics``.

Requests and verdicts are counted where they happen: in files below ``PROMETHEUS_MULTIPROC_DIR`` that all processes of
one web server write (`config.gunicorn_options` names the folder), else in this process alone. Jobs are counted by the
workers in the broker, and queue lengths are read from broker and database on request: any web server reports both for
all.

Who may read it: with ``LEAFSPAN_METRICS_TOKEN``, whoever sends it as bearer. Without, this machine alone: a connection
from its loopback that no proxy has forwarded, on a server that answers to no name but this machine's. To everyone else
the address does not exist.
"""

import os
from collections import Counter as Tally
from collections.abc import Iterable
from datetime import datetime
from hmac import compare_digest
from ipaddress import ip_address

from django.conf import settings
from django.db import Error
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from api.http.problems import handler404
from tastings.actions.push.change import Verdict
from tastings.job_metrics import BOUNDS_S, job_metrics
from tastings.queries.due import waiting
from tastings.queues import BrokerDown, queues
from tastings.schemas import RECORD_SCHEMAS
from teams.replica import READS

_HERE = CollectorRegistry(auto_describe=False)
REQUESTS = Counter("leafspan_requests", "Requests answered", ("method", "route", "status"), registry=_HERE)
REQUEST_SECONDS = Histogram(
    "leafspan_request_seconds",
    "From a request's arrival in a thread to the beginning of its answer",
    ("method", "route"),
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10),
    registry=_HERE,
)
VERDICTS = Counter("leafspan_sync_verdicts", "Changes that phones sent, by what became of them", ("type", "verdict"),
                   registry=_HERE)  # fmt: skip
_HERE.register(READS)
_METHODS = frozenset(("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"))
_FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST", "HTTP_FORWARDED", "HTTP_VIA",
              "HTTP_X_REAL_IP")  # fmt: skip
_LOCAL_NAMES = frozenset(("localhost", "127.0.0.1", "[::1]", "testserver"))


def count_request(*, method: str, route: str, status: int, seconds: float) -> None:
    """Count one answered request; methods that HTTP does not have are counted under one name."""
    known = method if method in _METHODS else "other"
    REQUESTS.labels(known, route, str(status)).inc()
    REQUEST_SECONDS.labels(known, route).observe(seconds)


def count_verdicts(verdicts: Iterable[Verdict]) -> None:
    """Count what became of a phone's changes; a type that is none of ours is one, whatever was sent."""
    numbers = Tally(
        (verdict.type if verdict.type in RECORD_SCHEMAS else "other", verdict.verdict) for verdict in verdicts
    )
    for labels, number in numbers.items():
        VERDICTS.labels(*labels).inc(number)


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Return the metrics in Prometheus' text format; 404 for callers who may not read them."""
    if not may_read(request):
        return handler404(request, Exception())
    registry = CollectorRegistry(auto_describe=False)
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]  # the library's
    else:
        registry.register(_HERE)  # a registry collects, so it can be part of another
    registry.register(_Now(timezone.now()))
    return HttpResponse(
        generate_latest(registry), content_type=CONTENT_TYPE_LATEST, headers={"Cache-Control": "no-store"}
    )


def may_read(request: HttpRequest) -> bool:
    """Whether the rule above lets the caller in."""
    if token := settings.METRICS_TOKEN:
        scheme, _, sent = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        return scheme.lower() == "bearer" and compare_digest(sent.strip().encode(), token.encode())
    if not _LOCAL_NAMES.issuperset(settings.ALLOWED_HOSTS) or any(request.META.get(name) for name in _FORWARDED):
        return False
    try:
        return ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


class _Now(Collector):
    """Reads queue lengths and the workers' counts at each scrape; reports which source is down."""

    def __init__(self, now: datetime) -> None:
        self._now = now

    def collect(self) -> Iterable[Metric]:
        """Yield every metric."""
        up = GaugeMetricFamily("leafspan_up", "Whether what the figures come from answered", labels=["what"])
        try:
            metrics = list(self._of_database())
        except Error:
            metrics = []
        up.add_metric(["database"], float(bool(metrics)))
        yield from metrics
        try:
            metrics = [*self._of_queues(), *_of_jobs()]
        except BrokerDown:
            metrics = []
        up.add_metric(["broker"], float(bool(metrics)))
        yield from metrics
        yield up

    def _of_database(self) -> Iterable[Metric]:
        due = waiting(now=self._now)
        yield GaugeMetricFamily("leafspan_lots_due", "Lots whose figures are behind", value=due.lots)
        yield GaugeMetricFamily("leafspan_teams_due", "Teams that have such lots", value=due.teams)
        yield GaugeMetricFamily(
            "leafspan_lots_due_oldest_seconds", "Since the last edit of the lot that waits longest", value=due.oldest_s
        )

    def _of_queues(self) -> Iterable[Metric]:
        length = GaugeMetricFamily("leafspan_queue_length", "Jobs that no worker has taken", labels=["queue"])
        age = GaugeMetricFamily("leafspan_queue_oldest_seconds", "Age of the oldest of them", labels=["queue"])
        for queue, state in queues(now=self._now).items():
            length.add_metric([queue.value], state.length)
            age.add_metric([queue.value], state.oldest_s)
        yield length
        yield age


def _of_jobs() -> Iterable[Metric]:
    ended = CounterMetricFamily("leafspan_jobs", "Jobs that ended, by outcome", labels=["job", "outcome"])
    taken = HistogramMetricFamily("leafspan_job_seconds", "How long they took", labels=["job"])
    for job, metrics in job_metrics().items():
        for outcome, n in metrics.outcomes.items():
            ended.add_metric([job, outcome], n)
        below, buckets = 0, []
        for bound, n in zip((*BOUNDS_S, "+Inf"), metrics.buckets, strict=True):
            below += n
            buckets.append((str(bound), float(below)))
        taken.add_metric([job], buckets, sum_value=metrics.seconds)
    yield ended
    yield taken
