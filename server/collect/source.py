"""How a source is doing: what it saw of each press, what it lost, what the press does not report.

Collectors note what happens here, from any thread; `document` is what goes to the server and stands
on the page of the sources.
"""

import collections
import dataclasses
import threading
from typing import Any, Final

from server import __version__
from server.clock import as_text, now_ms
from server.collect.forward import ForwardCounts
from server.collect.spool import SpoolState

_MINUTE_MS: Final = 60_000
_RATE_MINUTES: Final = 60
_TEXT_MAX: Final = 300


@dataclasses.dataclass
class PressSeen:
    """One press as the source sees it. `lost`: cycles the counters tell of and nobody received."""

    connected: bool = False
    shots: int = 0
    last_shot_ms: int | None = None
    lost: int = 0
    apart: int = 0
    #: Press clock minus ours when the newest shot came, s; None where it came out of history.
    clock_offset_s: float | None = None
    trouble: str = ""
    #: Field of a shot → why it is missing.
    not_reported: dict[str, str] = dataclasses.field(default_factory=dict)
    #: What else the press says of itself: serial number, screw diameter.
    facts: dict[str, str] = dataclasses.field(default_factory=dict)
    minutes: "collections.OrderedDict[int, int]" = dataclasses.field(default_factory=collections.OrderedDict)


class SourceState:
    """The notes of one collector."""

    def __init__(self, name: str, kind: str, *, address: str = "") -> None:
        self.name = name
        self.kind = kind
        self.address = address
        self._started_ms = now_ms()
        self._presses: dict[str, PressSeen] = {}
        self._trouble = ""
        self._lock = threading.Lock()

    def shots(self, press: str, *, count: int, last_ms: int, clock_offset_s: float | None = None) -> None:
        """Shots of a press went into the spool; the newest ended at `last_ms`."""
        minute = now_ms() // _MINUTE_MS
        with self._lock:
            seen = self._seen(press)
            seen.shots += count
            seen.last_shot_ms = max(last_ms, seen.last_shot_ms or last_ms)
            seen.minutes[minute] = seen.minutes.get(minute, 0) + count
            while len(seen.minutes) > _RATE_MINUTES:
                seen.minutes.popitem(last=False)
            if clock_offset_s is not None:
                seen.clock_offset_s = clock_offset_s

    def lost(self, press: str, count: int) -> None:
        """Counters tell of this many more cycles that never arrived; negative when some were found."""
        with self._lock:
            self._seen(press).lost += count

    def apart(self, press: str, reason: str) -> None:
        """Something of this press could not be read and is kept apart in the spool."""
        with self._lock:
            seen = self._seen(press)
            seen.apart += 1
            seen.trouble = reason[:_TEXT_MAX]

    def connected(self, press: str, yes: bool, *, trouble: str = "") -> None:
        with self._lock:
            seen = self._seen(press)
            seen.connected, seen.trouble = yes, trouble[:_TEXT_MAX]

    def not_reported(self, press: str, fields: dict[str, str]) -> None:
        with self._lock:
            self._seen(press).not_reported = dict(fields)

    def facts(self, press: str, facts: dict[str, str]) -> None:
        with self._lock:
            self._seen(press).facts.update(facts)

    def trouble(self, text: str) -> None:
        """Trouble of the whole source; empty when it is over."""
        with self._lock:
            self._trouble = text[:_TEXT_MAX]

    def of(self, press: str) -> PressSeen:
        """A copy of the notes about a press."""
        with self._lock:
            return dataclasses.replace(self._seen(press))

    def document(self, spool: SpoolState, sending: ForwardCounts) -> dict[str, Any]:
        """The report, as `PUT /api/v1/sources/{name}` takes it."""
        since = now_ms() // _MINUTE_MS - _RATE_MINUTES
        with self._lock:
            presses = [_press_document(code, seen, since) for code, seen in sorted(self._presses.items())]
            trouble = self._trouble
        return {
            "kind": self.kind,
            "address": self.address[:_TEXT_MAX],
            "version": __version__,
            "started_at": as_text(self._started_ms),
            "trouble": trouble,
            "presses": presses,
            "spool": {
                "waiting": spool.waiting,
                "apart": spool.apart,
                "most": spool.most_shots,
                "refused": spool.refused,
                "oldest_at": _when(spool.oldest_ms),
            },
            "sending": {
                "stored": sending.stored,
                "duplicate": sending.duplicate,
                "conflict": sending.conflict,
                "rejected": sending.rejected,
                "trouble": sending.trouble[:_TEXT_MAX],
                "reasons": [reason[:_TEXT_MAX] for reason in list(sending.reasons)],
            },
        }

    def _seen(self, press: str) -> PressSeen:
        return self._presses.setdefault(press, PressSeen())


def _press_document(press: str, seen: PressSeen, since_minute: int) -> dict[str, Any]:
    return {
        "press": press,
        "connected": seen.connected,
        "shots": seen.shots,
        "shots_last_hour": sum(count for minute, count in seen.minutes.items() if minute > since_minute),
        "last_shot_at": _when(seen.last_shot_ms),
        "lost": seen.lost,
        "apart": seen.apart,
        "clock_offset_s": seen.clock_offset_s,
        "trouble": seen.trouble,
        "not_reported": dict(sorted(seen.not_reported.items())),
        "facts": dict(sorted(seen.facts.items())),
    }


def _when(at_ms: int | None) -> str | None:
    return None if at_ms is None else as_text(at_ms)
