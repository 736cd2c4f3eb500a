"""Presses of the proof, judged as evaluation would judge them: startup record, dose lag, blocks, causes."""

import dataclasses
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.blocks import SIGNALS
from server.valve.evidence import EvidenceState, advance
from server.valve.proof_stories import LEAKS_FROM, SHARES, Story, tell
from server.valve.proof_world import Chance, Floats, Press, draw_press, run_press
from server.valve.signals import derive, detect_dose_lag
from server.valve.startup import record_of

#: Facts do not depend on the weights.
NO_WEIGHTS: Final[dict[str, Any]] = {
    "terms": {}, "terms_of_two": {}, "causes": {}, "few_signals": {"cap_log_odds": 99.0},
}  # fmt: skip
#: Shots judged after the record: usually, and on presses whose fault takes weeks.
AFTER: Final = 1_100
AFTER_LONG: Final = 12_000
_LONG_SHARE: Final = 0.06
#: Judgements so soon after an onset are neither right nor wrong, shots.
_SETTLING: Final[dict[str, int]] = {"not_closing": 10}
_SETTLING_ELSE: Final = 40


@dataclasses.dataclass(frozen=True)
class Judged:
    """One press: facts [k, F] at its judgements and what was true then.

    shot [k]: shots since the record, shots between lost ones counted. leaking [k]; clear [k]: whether
    the truth is beyond doubt (not right after an onset, not a loss too small to be called a leak);
    visible [k]: loss against healthy scatter; restart-free throughout. onset: first shot of the fault
    after the record (-1: none).
    """

    facts: Floats
    shot: NDArray[np.int64]
    leaking: NDArray[np.bool_]
    clear: NDArray[np.bool_]
    visible: Floats
    cause: str
    onset: int
    size: float
    growth: str
    minimum: bool
    sensors: tuple[str, ...]
    reported: bool
    worn_share: float
    cycle_s: float

    @property
    def begun(self) -> NDArray[np.bool_]:
        """[k] bool: after the onset."""
        return (self.shot >= self.onset) & (self.onset >= 0)


def _times(chance: Chance, press: Press, n: int, record: int) -> NDArray[np.int64]:
    """Ends of shots, with up to three stops of 20 to 300 minutes."""
    gaps = 1000.0 * press.cycle_s * (1.0 + 0.004 * chance.rng.standard_normal(n))
    for _ in range(int(chance.rng.integers(0, 4))):
        gaps[int(chance.rng.integers(record // 2, n))] += 60_000.0 * chance.log(20.0, 300.0)
    return np.asarray(int(chance.rng.integers(86_400_000)) + np.cumsum(gaps), dtype=np.int64)


def draw_judged(
    seed: int,
    *,
    cause: str | None = None,
    sensors: tuple[str, ...] | None = None,
    worn: bool = False,
    sudden: float | None = None,
) -> Judged | None:
    """A press of the proof with its judgements; worn: its record was taken on a valve leaking already.

    sudden: the share of the swept stroke that a steady leak loses at once (cause "steady_leak").
    None where the record does not suffice, as on a real press.
    """
    chance = Chance(seed)
    drawn = str(chance.rng.choice(list(SHARES), p=list(SHARES.values())))
    cause = cause or drawn
    press = draw_press(chance, sensors=sensors)
    record = int(chance.log(60.0, 1000.0))
    long = chance.yes(_LONG_SHARE)
    onset = record + int(chance.flat(120, 500))
    n = record + (AFTER_LONG if long else AFTER)
    length = int(chance.log(2_000.0, 11_000.0)) if long else int(chance.log(50.0, 700.0))
    story = tell(chance, press, cause=cause, n=n, record=record, onset=onset, length=length, sudden=sudden)
    worn_share = chance.log(0.005, 0.03) if worn else 0.0
    if worn:
        story.push["loss"] += worn_share * np.exp(0.2 * chance.rng.standard_normal(n))
    at_ms = _times(chance, press, n, record)
    reported = run_press(press, story.push, at_ms=at_ms, chance=chance)
    return _judged(press, story, reported.columns, reported.kept, cause, record, onset, worn_share)


def _judged(
    press: Press, story: Story, columns: dict[str, NDArray[Any]], kept: NDArray[np.int64],
    cause: str, record: int, onset: int, worn_share: float,
) -> Judged | None:  # fmt: skip
    first = int(np.searchsorted(kept, record))
    lag = detect_dose_lag({name: column[:first] for name, column in columns.items()}) or 0
    derived = derive(columns, dose_lag=lag, screw_diameter_mm=None, cycle_ms=1000.0 * press.cycle_s)
    reference = record_of(derived, record=first)
    if reference is None:
        return None
    change = np.zeros(len(kept), dtype=np.int64)
    for at in np.flatnonzero(story.change):
        change[min(int(np.searchsorted(kept, at)), len(kept) - 1)] = story.change[at]
    values = np.stack([derived.signals[name] for name in SIGNALS], axis=1)[first:]
    found = advance(
        EvidenceState.fresh(), values, usable=~derived.restart_transient[first:], change=change[first:],
        reference=reference, prior_log_odds=0.0, model=NO_WEIGHTS,
    )  # fmt: skip
    ready = found.status == 0
    made = kept[first + found.at_index[ready]]
    begun = (made >= onset) & (cause in LEAK_CAUSES)
    leaking = begun & (story.loss_now[made] >= LEAKS_FROM)
    settled = (made < onset) | (made >= onset + _SETTLING.get(cause, _SETTLING_ELSE))
    return Judged(
        facts=found.facts[ready], shot=made - record, leaking=leaking, clear=settled & (leaking == begun),
        visible=story.visible[made], cause=cause, onset=onset - record if cause != "sealing" else -1,
        size=story.size, growth=story.growth, minimum=not press.sensors, sensors=press.sensors,
        reported=story.reported, worn_share=worn_share, cycle_s=press.cycle_s,
    )  # fmt: skip


assert set(SHARES) <= set(CAUSES)
