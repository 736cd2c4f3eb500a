"""The prior at every shot: the plant's prevalence, the valve's age, and the checks on record.

Ages and the time since a check count in whole hundreds of shots, so that the prior of a shot is the
same whatever batch brought it, and seldom changes.
"""

import dataclasses
import itertools
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.errors import InvalidError
from server.store.records import Study, Valve
from server.valve.checks import (
    Part,
    age_log_odds,
    as_text,
    drift_check_log_odds,
    faded,
    inspection_log_odds,
    proof_log_odds,
    short_shot_log_odds,
    total,
)

#: Shots in which neither age nor the time since a check moves.
STEP: Final = 100
VALVE: Final = "valve"
PREVALENCE: Final = "prevalence"
AGE: Final = "valve_age"

#: (kind, number) of a mark -> ordinal of the first shot behind it.
Passed = Mapping[tuple[str, int], int]


@dataclasses.dataclass(frozen=True)
class Mark:
    """A moment from which the prior is another: a valve is fitted, or a check is made.

    log_odds: of a check before it fades. shots_before: on a valve when it was fitted, None: unknown.
    """

    at_ms: int
    kind: str
    number: int
    log_odds: float = 0.0
    shots_before: int | None = None

    @property
    def key(self) -> tuple[str, int]:
        return (self.kind, self.number)


def marks_of(valves: Sequence[Valve], studies: Sequence[Study]) -> list[Mark]:
    """The marks of a press in order of time. Studies that say nothing of the valve are none."""
    marks = [
        Mark(at_ms=one.fitted_ms, kind=VALVE, number=one.valve_no, shots_before=one.shots_before)
        for one in valves
    ]
    for study in studies:
        said = check_log_odds(study.kind, asked=study.asked, result=study.result, verdict=study.verdict)
        if said is not None:
            marks.append(Mark(at_ms=study.at_ms, kind=study.kind, number=study.study_no, log_odds=said))
    # A valve before a check of the same moment: the check was made on the new one.
    return sorted(marks, key=lambda mark: (mark.at_ms, mark.kind != VALVE, mark.kind, mark.number))


def check_log_odds(
    kind: str, *, asked: Mapping[str, Any], result: Mapping[str, Any], verdict: str
) -> float | None:
    """What a kept study says of the valve; None where its kind says nothing, or nothing usable."""
    try:
        if kind == "drift-check":
            low, high = result["creep_interval"]
            return drift_check_log_odds(float(result["creep_mm_s"]), creep_interval=(float(low), float(high)))
        if kind == "short-shot":
            return short_shot_log_odds(
                float(result["cv_pct"]), n=len(asked["weights_g"]), limit_pct=float(asked["limit_pct"])
            )
        if kind == "inspection":
            return inspection_log_odds(verdict)
        if kind == "proof":
            # A verdict against what the shots say is somebody's opinion, not evidence.
            return proof_log_odds(str(asked["action"]), verdict=verdict) if asked["counts"] is True else None
    except (KeyError, TypeError, InvalidError):
        return None
    return None


@dataclasses.dataclass(frozen=True)
class Priors:
    """Of n shots: log_odds [n], what checks alone say [n], and the marks passed so far."""

    log_odds: NDArray[np.float64]
    checked: NDArray[np.float64]
    passed: dict[tuple[str, int], int]
    starts: tuple[int, ...]
    parts: tuple[tuple[Part, ...], ...]

    def text_at(self, position: int) -> str:
        """The parts at a shot, as they are kept with its judgement."""
        return as_text(self.parts[int(np.searchsorted(self.starts, position, side="right")) - 1])


def priors(
    at_ms: NDArray[np.int64],
    *,
    before_ms: int,
    ordinal: int,
    passed: Passed,
    marks: Sequence[Mark],
    prevalence_log_odds: float,
    life_shots: float,
) -> Priors:
    """The prior of n shots in order, the first of which is number `ordinal` of its press.

    passed: marks behind the shots before, with their ordinals. life_shots 0: the plant states no life
    of a valve, and age says nothing.
    """
    n = len(at_ms)
    known = dict(passed)
    starts = {0, *range((-ordinal) % STEP, n, STEP)}
    for mark in marks:
        if mark.at_ms > before_ms:
            first = int(np.searchsorted(at_ms, mark.at_ms))
            if first < n:
                known[mark.key] = ordinal + first
                starts.add(first)
    begins = sorted(one for one in starts if one < n)
    log_odds, checked = np.empty(n), np.empty(n)
    made: list[tuple[Part, ...]] = []
    for begin, end in itertools.pairwise([*begins, n]):
        here = ordinal + begin
        behind = [mark for mark in marks if known.get(mark.key, here + 1) <= here]
        parts = _parts(behind, known, (here // STEP) * STEP, prevalence_log_odds, life_shots)
        log_odds[begin:end] = total(parts)
        checked[begin:end] = total([part for part in parts if part.source not in (PREVALENCE, AGE)])
        made.append(tuple(parts))
    return Priors(log_odds, checked, known, tuple(begins), tuple(made))


def _parts(
    behind: Sequence[Mark], known: Passed, ordinal: int, prevalence: float, life_shots: float
) -> list[Part]:
    """Prevalence, the age of the valve that is in, and the last check of each kind since it was fitted."""
    parts = [Part(PREVALENCE, prevalence)]
    fitted = max((i for i, mark in enumerate(behind) if mark.kind == VALVE), default=-1)
    if fitted >= 0 and life_shots > 0:
        age = _age(behind[fitted], known, ordinal)
        if age is not None:
            log_odds = age_log_odds(age, expected_life_shots=life_shots)
            parts.append(Part(AGE, log_odds, number=behind[fitted].number, shots=age))
    # Two checks of a kind mostly repeat each other: the last one stands.
    last = {mark.kind: mark for mark in behind[fitted + 1 :]}
    for kind in sorted(last):
        mark = last[kind]
        since = max(0, ordinal - known[mark.key])
        parts.append(Part(kind, faded(mark.log_odds, shots_since=since), number=mark.number, shots=since))
    return parts


def _age(valve: Mark, known: Passed, ordinal: int) -> int | None:
    """Shots on a valve. One that was in before the first shot and says no count has an unknown age."""
    since = max(0, ordinal - known[valve.key])
    if valve.shots_before is not None:
        return valve.shots_before + since
    return since if known[valve.key] > 0 else None
