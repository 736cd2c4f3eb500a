"""The score against the plant's own inspections: which ones count, and what they make of it."""

import dataclasses
from typing import Final

import numpy as np
import sqlalchemy as sa

from server.maths.results import Undetermined
from server.store.records import Study, all_valves, score_before, studies_of_kind, valves_of
from server.valve.recalibration import KEPT_TERMS, Recalibration, recalibrate


@dataclasses.dataclass(frozen=True)
class Inspected:
    """One valve, opened: the model's own log-odds just before, and whether it was failing.

    failing None: worn but usable, which is neither.
    """

    press_id: int
    press: str
    study_no: int
    at_ms: int
    log_odds: float
    failing: bool | None


@dataclasses.dataclass(frozen=True)
class Record:
    """inspected: every one that can be paired with a score; unpaired: those without a score before."""

    inspected: tuple[Inspected, ...]
    unpaired: int
    result: Recalibration | Undetermined

    @property
    def worn(self) -> int:
        """How many were worn but usable, and so left out."""
        return sum(one.failing is None for one in self.inspected)


def _own_log_odds(score: tuple[float, bytes] | None) -> float | None:
    """The model's own; None for a score of an older model, whose terms are others."""
    if score is None or len(score[1]) != 8 * len(KEPT_TERMS):
        return None
    return score[0] - float(np.frombuffer(score[1], dtype="<f8")[-1])


@dataclasses.dataclass(frozen=True)
class _Shown:
    valve_no: int
    at_ms: int
    failing: bool | None


_FAILING: Final = {"failed": True, "good": False, "worn": None}
#: (press, study_no, what it showed, press_id)
_Sight = tuple[str, int, _Shown, int]


def _opened(connection: sa.Connection) -> list[_Sight]:
    """Valves somebody looked at."""
    found = []
    for press, study in studies_of_kind(connection, "inspection"):
        valve = max(
            (one.valve_no for one in valves_of(connection, study.press_id) if one.fitted_ms <= study.at_ms),
            default=0,
        )
        failing = _FAILING.get(study.verdict)
        found.append((press, study.study_no, _Shown(valve, study.at_ms, failing), study.press_id))
    return found


def _taken_out(connection: sa.Connection) -> list[_Sight]:
    """Valves that went, and what they turned out to be."""
    return [
        (press, one.valve_no, _Shown(one.valve_no, one.removed_ms, _FAILING[one.outcome]), one.press_id)
        for press, one in all_valves(connection)
        if one.removed_ms is not None and one.outcome in _FAILING
    ]


def _proven(connection: sa.Connection) -> list[_Sight]:
    """Valves that went, and what the shots after the change say of them."""
    found = []
    for press, study in studies_of_kind(connection, "proof"):
        shown = _shown_by(study)
        if shown is not None:
            found.append((press, study.study_no, shown, study.press_id))
    return found


def _shown_by(study: Study) -> _Shown | None:
    """A change of valve that cured it: the old one had failed; one that changed nothing: it was sound."""
    asked = study.asked
    if asked.get("action") != "valve" or asked.get("counts") is not True or asked.get("valve_no") is None:
        return None
    failing = {"fixed": True, "no_change": False}.get(study.verdict)
    if failing is None:
        return None
    return _Shown(int(asked["valve_no"]), int(asked["at_ms"]), failing)


def inspection_record(connection: sa.Connection) -> Record:
    """The first inspection of each valve with the last score before it, and the curve through them.

    A second look at the same valve would count the same luck twice. The score taken is the model's
    own: what earlier corrections put on it is taken off again. A change of valve with a proven verdict
    counts like an inspection of the valve that went, unless somebody looked into that one.
    """
    found: list[Inspected] = []
    unpaired = 0
    seen: set[tuple[int, int]] = set()
    for press, study_no, shown, press_id in [
        *_opened(connection), *_taken_out(connection), *_proven(connection),
    ]:  # fmt: skip
        if (press_id, shown.valve_no) in seen:
            continue
        seen.add((press_id, shown.valve_no))
        log_odds = _own_log_odds(score_before(connection, press_id, at_ms=shown.at_ms))
        if log_odds is None:
            unpaired += 1
            continue
        found.append(Inspected(press_id, press, study_no, shown.at_ms, log_odds, shown.failing))
    found.sort(key=lambda one: (one.at_ms, one.press_id, one.study_no))
    counted = [one for one in found if one.failing is not None]
    result = recalibrate([one.log_odds for one in counted], failing=[bool(one.failing) for one in counted])
    return Record(tuple(found), unpaired, result)
