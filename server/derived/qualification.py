"""Whether a startup record is qualified: a drift check and a short-shot study that came out well beside it.

Without both it is "relative only": it tells that something changed, not that the valve was good when it
began.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.store.plant import Press
from server.store.records import Baseline, Event, Study, checks_of, newest_events
from server.store.sheets import sheets_of

#: A check stands beside a record when it was made so long before or after it at most (common practice,
#: no source).
BESIDE_MS: Final = 30 * 86_400_000
#: The static and the dynamic check of the valve, and the verdict each has to come to.
WANTED: Final[dict[str, str]] = {"drift-check": "fine", "short-shot": "within"}

QUALIFIED: Final = "qualified"
RELATIVE: Final = "relative_only"


@dataclasses.dataclass(frozen=True)
class CheckBeside:
    """The newest check of a kind beside a record; `holds`: it came out well. study_no None: there is none."""

    kind: str
    study_no: int | None = None
    at_ms: int | None = None
    verdict: str = ""
    author: str = ""

    @property
    def holds(self) -> bool:
        return self.verdict == WANTED[self.kind]


@dataclasses.dataclass(frozen=True)
class Qualification:
    """`checks` in the order of WANTED; qualification_no: the press qualification kept with the record."""

    checks: tuple[CheckBeside, ...]
    qualification_no: int | None = None

    @property
    def status(self) -> str:
        """`qualified` or `relative_only`."""
        return QUALIFIED if all(one.holds for one in self.checks) else RELATIVE


def qualification_of(connection: sa.Connection, press: Press, baseline: Baseline) -> Qualification:
    """What stands beside one record."""
    return qualifications_of(connection, press, [baseline])[baseline.baseline_no]


def qualifications_of(
    connection: sa.Connection, press: Press, baselines: Sequence[Baseline]
) -> dict[int, Qualification]:
    """What stands beside each of these records of one press, by number."""
    checks = checks_of(connection, press.press_id)
    changes = newest_events(connection, press.press_id, kind="valve_change", limit=1_000)
    sheets = sheets_of(connection, press.press_id, state="kept", kind="qualification")
    found = {}
    for baseline in baselines:
        linked = [one.study_no for one in sheets if one.baseline_no == baseline.baseline_no]
        found[baseline.baseline_no] = Qualification(
            checks=tuple(_beside(kind, baseline, checks, changes) for kind in WANTED),
            qualification_no=linked[0] if linked else None,
        )
    return found


def _beside(kind: str, baseline: Baseline, checks: Sequence[Study], changes: Sequence[Event]) -> CheckBeside:
    """The newest check of a kind on the same valve. A drift check is of the valve, whatever mold runs."""
    begin, end = baseline.from_ms - BESIDE_MS, baseline.to_ms + BESIDE_MS
    begin = max([begin, *(one.at_ms for one in changes if one.at_ms <= baseline.from_ms)])
    end = min([end, *(one.at_ms for one in changes if one.at_ms > baseline.from_ms)])
    fits = [
        one
        for one in checks
        if one.kind == kind
        and begin <= one.at_ms <= end
        and (kind == "drift-check" or one.mold in ("", baseline.mold))
    ]
    if not fits:
        return CheckBeside(kind)
    newest = fits[-1]
    return CheckBeside(kind, newest.study_no, newest.at_ms, newest.verdict, newest.author)


def qualification_item(found: Qualification, *, when: Any) -> dict[str, Any]:
    """As the API writes it; `when` turns milliseconds into text."""
    return {
        "status": found.status,
        "checks": [
            {
                "kind": one.kind,
                "study": one.study_no,
                "at": None if one.at_ms is None else when(one.at_ms),
                "verdict": one.verdict or None,
                "holds": one.holds,
            }
            for one in found.checks
        ],
        "qualification": found.qualification_no,
    }
