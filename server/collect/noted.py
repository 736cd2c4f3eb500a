"""A spool that notes what goes through it, for sources that only know how to fill one."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from server.clock import from_datetime
from server.collect.source import SourceState
from server.collect.spool import Spool


class NotedSpool:
    """`append`, `keep_apart` and `mark` of a spool; shots and refusals stand in the source's notes too."""

    def __init__(self, spool: Spool, state: SourceState) -> None:
        self._spool = spool
        self._state = state

    def append(self, shots: Sequence[Mapping[str, Any]], *, marks: Mapping[str, str] | None = None) -> None:
        self._spool.append(shots, marks=marks)
        newest: dict[str, tuple[int, int]] = {}
        for shot in shots:
            count, last_ms = newest.get(str(shot["press"]), (0, 0))
            newest[str(shot["press"])] = (count + 1, max(last_ms, _moment(shot.get("at"))))
        for press, (count, last_ms) in newest.items():
            self._state.shots(press, count=count, last_ms=last_ms)
            self._state.connected(press, True)

    def keep_apart(
        self, press: str, raw: str, *, code: str, reason: str, marks: Mapping[str, str] | None = None
    ) -> None:
        self._spool.keep_apart(press, raw, code=code, reason=reason, marks=marks)
        self._state.apart(press, reason)

    def mark(self, name: str) -> str | None:
        return self._spool.mark(name)


def _moment(text: Any) -> int:
    try:
        at = dt.datetime.fromisoformat(str(text))
    except ValueError:
        return 0
    return from_datetime(at) if at.tzinfo else 0
