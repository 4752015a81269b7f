"""Counts finished jobs by name, outcome and duration, for all workers together, in the broker's Redis.

A job takes milliseconds, so one more round trip to the broker does not matter, and killed workers leave no files
behind. The counts restart at 0 when the broker loses its data.
"""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, field

from redis import Redis

from tastings.jobs import Job
from tastings.queues import ask_broker

BOUNDS_S = (0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0, 120.0)
_KEY = "leafspan:jobs"


@dataclass(kw_only=True, slots=True)
class JobMetric:
    """One job's counts by outcome and by duration (buckets between `BOUNDS_S`), and the total duration [s]."""

    outcomes: dict[str, int] = field(default_factory=dict)
    buckets: list[int] = field(default_factory=lambda: [0] * (len(BOUNDS_S) + 1))
    seconds: float = 0.0


def count_job(job: str, *, outcome: str, seconds: float | None) -> None:
    """Count one job that ended; ``seconds`` is None when not known, as of one that was killed. Raise BrokerDown."""

    def count(client: Redis) -> None:
        both = client.pipeline(transaction=False)
        both.hincrby(_KEY, f"{job} {outcome}", 1)
        if seconds is not None:
            both.hincrby(_KEY, f"{job} <{bisect_left(BOUNDS_S, seconds)}", 1)
            both.hincrbyfloat(_KEY, f"{job} s", seconds)
        both.execute()

    ask_broker(count)


def job_metrics() -> Mapping[str, JobMetric]:
    """Return the counts of each job; raise BrokerDown if the broker does not answer."""
    metrics = {job.value: JobMetric() for job in Job}
    for name, value in ask_broker(lambda client: dict(client.hgetall(_KEY))).items():
        job, _, measure = str(name, "utf-8").rpartition(" ")  # type: ignore[arg-type]  # bytes, as nothing else is asked of the client
        if job not in metrics:
            continue
        if measure == "s":
            metrics[job].seconds = float(value)
        elif measure.startswith("<"):
            metrics[job].buckets[int(measure[1:])] = int(value)
        else:
            metrics[job].outcomes[measure] = int(value)
    return metrics
