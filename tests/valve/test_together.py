"""How shots stand together: a mixture is skewed however many shots are late, and what moves along is seen."""

import numpy as np
import pytest

from server.valve.blocks import PEAK, SIGNALS, SIZE, SWEPT
from server.valve.evidence import LOT_CHANGE, Advanced, EvidenceState, Reference, advance
from server.valve.features import FACT_INDEX
from server.valve.model import MODEL

Floats = np.ndarray


def facts_of(rows: Floats, *, change: Floats | None = None) -> Advanced:
    center, sigma = np.full(len(SIGNALS), np.nan), np.full(len(SIGNALS), np.nan)
    for signal, (middle, scatter) in {SWEPT: (60.0, 0.1), SIZE: (66.0, 0.1), PEAK: (800.0, 4.0)}.items():
        center[signal], sigma[signal] = middle, scatter
    return advance(
        EvidenceState.fresh(),
        rows,
        usable=np.ones(len(rows), dtype=bool),
        change=np.zeros(len(rows), dtype=np.int64) if change is None else change,
        reference=Reference(center, sigma, np.zeros(len(SIGNALS)), 0.0),
        prior_log_odds=-2.9,
        model=MODEL,
    )


def press(n: int = 1000, *, seed: int = 1) -> Floats:
    rng = np.random.default_rng(seed)
    rows = np.full((n, len(SIGNALS)), np.nan)
    rows[:, SWEPT] = 60.0 + 0.1 * rng.standard_normal(n)
    rows[:, SIZE] = 66.0 + 0.1 * rng.standard_normal(n)
    rows[:, PEAK] = 800.0 + 4.0 * rng.standard_normal(n)
    return rows


def last(name: str, rows: Floats) -> float:
    return float(facts_of(rows).facts[-1, FACT_INDEX[name]])


def test_a_press_as_in_its_record_is_even_and_nothing_moves_along() -> None:
    for name in (
        "swept_skew",
        "swept_skew_long",
        "swept_with_size",
        "swept_with_peak",
        "swept_with_peak_long",
    ):
        assert abs(last(name, press())) < 0.25, name
    assert last("swept_between", press()) == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4])
def test_late_shots_are_skewed_to_one_side_even_where_medians_flip(share: float) -> None:
    rows = press()
    late = np.random.default_rng(2).random(len(rows)) < share
    rows[:, SWEPT] += 1.0 * late
    rows[:, PEAK] -= 20.0 * late
    assert last("swept_skew_long", rows) > 0.15
    assert last("swept_with_peak_long", rows) < -0.3
    assert abs(last("swept_with_size_long", rows)) < 0.15


def test_a_dose_that_moves_with_the_swept_stroke_is_seen() -> None:
    rows = press()
    uneven = 0.3 * np.random.default_rng(3).standard_normal(len(rows))
    rows[:, SWEPT] += uneven
    rows[:, SIZE] += 0.5 * uneven
    assert last("swept_with_size", rows) > 0.5


def test_late_shots_that_keep_company_scatter_from_block_to_block() -> None:
    rows = press()
    rows[:, SWEPT] += np.where(np.arange(len(rows)) // 10 % 3 == 0, 1.0, 0.0)
    assert last("swept_between", rows) > 2.0


def test_a_press_without_pressure_says_nothing_of_it() -> None:
    rows = press()
    rows[:, PEAK] = np.nan
    found = facts_of(rows).facts[-1]
    assert np.isnan(found[FACT_INDEX["swept_with_peak"]])
    assert np.isnan(found[FACT_INDEX["swept_with_peak_long"]])


def test_a_known_change_is_no_step_from_block_to_block() -> None:
    rows = press(400)
    rows[300:, SWEPT] += 0.5
    change = np.zeros(400, dtype=np.int64)
    change[300] = LOT_CHANGE
    told = facts_of(rows, change=change).facts[:, FACT_INDEX["swept_between"]]
    without = facts_of(rows).facts[:, FACT_INDEX["swept_between"]]
    assert without[-20:].max() > told[-20:].max() + 0.1
