"""What the server counts of itself, handed out in the Prometheus text format.

Every label has few values: outcomes, routes as they are declared (never as they are called), classes of
status. So the number of series is bounded whatever is sent.
"""

from collections.abc import Mapping
from typing import Final

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.gc_collector import GCCollector
from prometheus_client.process_collector import ProcessCollector

CONTENT_TYPE: Final = CONTENT_TYPE_LATEST

#: Seconds: an answer, a piece of evaluation, and how late a shot may come.
_ANSWER_S: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
_LAG_S: Final = (1.0, 5.0, 15.0, 60.0, 300.0, 1800.0, 7200.0, 86_400.0, 604_800.0)

#: A gauge's name and labels with their values -> its value.
Gauges = Mapping[tuple[str, tuple[tuple[str, str], ...]], float]


class Measures:
    """Counters of one server. `text` adds what is looked up at the moment of asking."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        ProcessCollector(registry=self.registry)
        GCCollector(registry=self.registry)
        self._rows = Counter(
            "ringtell_ingest_rows", "Rows of shots received, by what became of them", ["outcome"],
            registry=self.registry,
        )  # fmt: skip
        self._lag = Histogram(
            "ringtell_ingest_lag_seconds", "From the newest shot of a request to its arrival",
            buckets=_LAG_S, registry=self.registry,
        )  # fmt: skip
        self._refused = Counter(
            "ringtell_ingest_refused", "Requests told to come back later, nothing stored", ["why"],
            registry=self.registry,
        )  # fmt: skip
        self._evaluated = Histogram(
            "ringtell_evaluation_seconds", "One piece of evaluation, computed and landed",
            buckets=_ANSWER_S, registry=self.registry,
        )  # fmt: skip
        self._failed = Counter(
            "ringtell_evaluation_failures", "Pieces of evaluation that raised", registry=self.registry
        )
        self._answers = Histogram(
            "ringtell_request_seconds", "Until an answer begins, by route and class of status",
            ["route", "status"], buckets=_ANSWER_S, registry=self.registry,
        )  # fmt: skip
        self._alarms = Counter(
            "ringtell_alarm_changes", "Moves of alarms by evaluation and time", ["action"],
            registry=self.registry,
        )  # fmt: skip

    def took_in(self, outcomes: Mapping[str, int], *, lag_s: float | None) -> None:
        """Rows of one request, by outcome; lag_s: how old its newest shot was."""
        for outcome, rows in outcomes.items():
            if rows:
                self._rows.labels(outcome).inc(rows)
        if lag_s is not None:
            self._lag.observe(max(0.0, lag_s))

    def refused(self, why: str) -> None:
        """A request sent back because too much waits; why: `busy`, `slow`."""
        self._refused.labels(why).inc()

    def evaluated(self, seconds: float) -> None:
        """One piece of evaluation landed."""
        self._evaluated.observe(seconds)

    def evaluation_failed(self) -> None:
        """One piece of evaluation raised."""
        self._failed.inc()

    def answered(self, route: str, status: int, seconds: float) -> None:
        """An answer began. route: its declared path, `other` for none."""
        self._answers.labels(route, f"{status // 100}xx").observe(seconds)

    def alarm_moved(self, action: str) -> None:
        """An alarm took a step."""
        self._alarms.labels(action).inc()

    def text(self, gauges: Gauges, described: Mapping[str, str]) -> bytes:
        """Everything counted so far, with `gauges` of this moment."""
        now = CollectorRegistry()
        made: dict[str, Gauge] = {}
        for (name, labels), value in gauges.items():
            if name not in made:
                made[name] = Gauge(name, described[name], [key for key, _ in labels], registry=now)
            gauge = made[name].labels(*(one for _, one in labels)) if labels else made[name]
            gauge.set(value)
        return bytes(generate_latest(self.registry) + generate_latest(now))
