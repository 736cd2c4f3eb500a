"""The evidence: same bits in any batching, and sane answers on plain statistical presses."""

import time
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.blocks import MEDIAN, WIDTH, summarise
from server.valve.early import early_rows
from server.valve.evidence import (
    BLOCK,
    FACTS,
    SIGNALS,
    TERMS,
    Advanced,
    EvidenceState,
    Reference,
    advance,
    likelihood,
)
from server.valve.evidence_words import settled_by, term_sentence
from server.valve.judgement import LIMITS, UNLIKE_OTHERS
from server.valve.model import MODEL
from tests.valve.presses import USUAL, Floats, press_rows, reference_of

PRIOR = -2.9444


def run(
    rows: Floats,
    reference: Reference,
    *,
    change: Any = None,
    usable: Any = None,
    state: EvidenceState | None = None,
    prior: float = PRIOR,
) -> Advanced:
    n = len(rows)
    return advance(
        state or EvidenceState.fresh(),
        rows,
        usable=np.ones(n, dtype=bool) if usable is None else usable,
        change=np.zeros(n, dtype=np.int64) if change is None else change,
        reference=reference,
        prior_log_odds=prior,
        model=MODEL,
    )


def chance(result: Advanced) -> Floats:
    return np.array([likelihood(x) for x in result.log_odds])


def whole_equals_parts(n: int, cuts: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = press_rows(n, seed=seed, signals=SIGNALS)
    rows[rng.random(rows.shape) < 0.05] = np.nan
    rows[n // 2 :, 0] *= 1.01
    for begin in rng.integers(0, n, 3):
        rows[begin : begin + int(rng.integers(1, 12)), 0] += 6.0
    usable = rng.random(n) > 0.1
    change = np.where(rng.random(n) < 0.01, rng.integers(1, 3, n), 0)
    reference = reference_of(press_rows(380, seed=seed + 1, signals=SIGNALS))
    whole = run(rows, reference, change=change, usable=usable)
    state, parts = EvidenceState.fresh(), []
    for lo, hi in zip([0, *cuts], [*cuts, n], strict=True):
        part = run(rows[lo:hi], reference, change=change[lo:hi], usable=usable[lo:hi], state=state)
        state = EvidenceState.from_arrays(part.state.to_arrays())
        parts.append((part, lo))
    for name in ("terms", "log_odds", "causes", "facts", "status"):
        together = np.concatenate([getattr(part, name) for part, _ in parts])
        assert together.tobytes() == getattr(whole, name).tobytes(), name
    at = np.concatenate([part.at_index + lo for part, lo in parts])
    assert at.tolist() == whole.at_index.tolist()
    for name, value in whole.state.to_arrays().items():
        assert value.tobytes() == state.to_arrays()[name].tobytes(), name


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_any_batching_gives_the_same_bits(data: st.DataObject) -> None:
    n = data.draw(st.integers(1, 1500))
    cuts = sorted(data.draw(st.lists(st.integers(0, n), max_size=12)))
    whole_equals_parts(n, cuts, data.draw(st.integers(0, 999)))


def test_shot_by_shot_gives_the_same_bits() -> None:
    whole_equals_parts(300, list(range(1, 300)), 5)


def test_terms_add_up_and_causes_share_the_likelihood() -> None:
    reference = reference_of(press_rows(380, seed=1))
    rows = press_rows(400, seed=2)
    rows[200:, 0] += 1.5
    result = run(rows, reference)
    total = np.full(len(result.log_odds), PRIOR)
    for i in range(len(TERMS)):
        total = total + result.terms[:, i]
    assert total.tobytes() == result.log_odds.tobytes()
    leaks = result.causes[:, [CAUSES.index(c) for c in LEAK_CAUSES]].sum(axis=1)
    assert np.abs(leaks - chance(result)).max() < 1e-9
    assert np.abs(result.causes.sum(axis=1) - 1).max() < 1e-9
    assert result.facts.shape == (80, len(FACTS))
    assert result.status[:3].tolist() == [1, 1, 1]
    assert result.status[3:].tolist() == [0] * 77


@pytest.mark.parametrize("phi", [-0.1, 0.2, 0.5])
@pytest.mark.parametrize("heavy", [False, True])
@pytest.mark.parametrize(("sigma", "rounding"), [(0.05, 0.01), (0.004, 0.01), (0.1, 0.1)])
def test_a_healthy_press_stays_under_20_percent(
    phi: float, heavy: bool, sigma: float, rounding: float
) -> None:
    def rows(n: int, seed: int) -> Floats:
        return press_rows(n, seed=seed, phi=phi, heavy=heavy, sigma_of_swept=sigma, rounding=rounding)

    result = run(rows(6000, 11), reference_of(rows(380, 10)))
    assert (chance(result) < 0.20).mean() > 0.995
    assert np.median(chance(result)) < 0.06


def leaking(n: int, seed: int) -> Floats:
    """+3 % of swept stroke and twice its scatter; pressure and weight unchanged."""
    rows = press_rows(n, seed=seed)
    rows[:, 0] = 60.0 * 1.03 + (rows[:, 0] - 60.0) * 2.0
    rows[:, 1] = rows[:, 2] - rows[:, 0]
    return rows


@pytest.mark.parametrize("seed", range(8))
def test_a_leak_is_over_80_percent_within_100_shots(seed: int) -> None:
    reference = reference_of(press_rows(380, seed=seed))
    rows = np.concatenate([press_rows(200, seed=seed + 50), leaking(100, seed + 100)])
    found = chance(run(rows, reference))
    assert found[:39].max() < 0.2
    assert found[-1] > 0.8


@pytest.mark.parametrize("seed", range(8))
def test_a_lot_change_stays_under_30_percent(seed: int) -> None:
    reference = reference_of(press_rows(380, seed=seed))
    rows = press_rows(800, seed=seed + 50)
    rows[203:, 0] *= 1.005
    rows[203:, 1] = rows[203:, 2] - rows[203:, 0]
    rows[203:, 3] *= 0.96
    change = np.zeros(800, dtype=np.int64)
    change[203] = 1
    known = chance(run(rows, reference, change=change))
    assert known.max() < 0.30
    unknown = chance(run(rows, reference))
    assert np.median(unknown[-60:]) > np.median(known[-60:])


def test_a_leak_built_up_before_a_lot_change_stays() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = np.concatenate([press_rows(200, seed=4), leaking(600, 5)])
    rows[403:, 0] -= 0.3
    change = np.zeros(800, dtype=np.int64)
    change[403] = 1
    result = run(rows, reference, change=change)
    rise = result.facts[:, FACTS.index("swept_rise_pct")]
    assert rise[75] == pytest.approx(3.0, abs=0.2)
    assert rise[-1] == pytest.approx(3.0, abs=0.3)
    assert (chance(result)[70:] > 0.7).all()
    assert chance(result)[-1] > 0.8


def test_a_lot_change_cannot_swallow_a_leak() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = np.concatenate([press_rows(203, seed=4), leaking(400, 5)])
    change = np.zeros(603, dtype=np.int64)
    change[203] = 1
    result = run(rows, reference, change=change)
    rise = result.facts[:, FACTS.index("swept_rise_pct")]
    assert rise[-1] == pytest.approx(2.0, abs=0.2)
    assert chance(result)[-1] > 0.7


def test_levels_stay_frozen_while_a_change_is_measured() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = press_rows(300, seed=4)
    rows[200:, 0] += 1.0
    change = np.zeros(300, dtype=np.int64)
    change[200] = 2
    result = run(rows, reference, change=change)
    level = result.terms[:, TERMS.index("swept_level")]
    assert level[40:43].tolist() == [level[39]] * 3
    explained = result.facts[:, FACTS.index("change_explains_pct")]
    assert explained[43] == pytest.approx(100 / 60, abs=0.1)
    assert chance(result).max() < 0.2


def test_topping_up_the_shot_size_does_not_hide_a_leak() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = np.concatenate([press_rows(100, seed=4), leaking(200, 5)])
    topped = rows.copy()
    topped[200:, 2] += 1.5
    topped[200:, 1] += 1.5
    plain, top = run(rows, reference), run(topped, reference)
    column = TERMS.index("swept_level")
    assert plain.terms[:, column].tolist() == top.terms[:, column].tolist()
    assert chance(top)[-1] > 0.8


def test_cushion_and_shot_size_alone_are_capped_and_say_so() -> None:
    two = ("swept_mm", "cushion_mm", "shot_size_mm")
    reference = reference_of(press_rows(380, seed=3, signals=two))
    rows = press_rows(300, seed=4, signals=two)
    rows[100:, 0] += 3.0
    result = run(rows, reference, prior=4.0)
    lifted = np.maximum(result.terms[:, [TERMS.index(name) for name in UNLIKE_OTHERS]], 0.0).sum(axis=1)
    held = result.terms[:, TERMS.index("few_signals")] < 0
    assert held[-10:].all()
    assert np.abs(result.log_odds[held] - np.minimum(3.0 + lifted[held], LIMITS[1])).max() < 1e-9
    facts = dict(zip(FACTS, result.facts[-1].tolist(), strict=True))
    assert "flash" in term_sentence("few_signals", log_odds=-1.0, facts=facts)
    assert settled_by(facts) == ("part_weight_g", "peak_pressure_bar", "drift_check")
    for missing in ("pressure_level", "recovery", "weight", "gate_seal_drift", "fill_time"):
        assert not result.terms[:, TERMS.index(missing)].any()


@pytest.mark.parametrize("onset", [100, 101, 102, 103, 104])
@pytest.mark.parametrize("signals", [USUAL, ("swept_mm", "cushion_mm", "shot_size_mm")])
def test_a_valve_that_does_not_shut_is_over_90_percent_within_5_shots(
    onset: int, signals: tuple[str, ...]
) -> None:
    """Wherever in a block of five it begins."""
    reference = reference_of(press_rows(380, seed=3, signals=signals))
    rows = press_rows(onset + 5, seed=4, signals=signals)
    rows[onset:, 0] = 65.9
    rows[onset:, 1] = 0.1
    rows[onset:, 3] = 500.0 if "peak_pressure_bar" in signals else np.nan
    result = run(rows, reference)
    assert result.at_index[-1] - onset + 1 <= 5
    assert chance(result)[-1] > 0.9
    assert chance(result)[result.at_index < onset].max() < 0.2
    assert CAUSES[int(np.argmax(result.causes[-1]))] == "not_closing"


def test_pressure_and_recovery_lost_to_an_open_valve_do_not_excuse_it() -> None:
    """Shot after shot at bottom at half the pressure, screw turning unevenly: no other melt looks so."""
    rows = press_rows(400, seed=4)
    rng = np.random.default_rng(5)
    rows[100:, 0], rows[100:, 1] = rows[100:, 2] - 0.1, 0.1
    rows[100:, 3] = 350.0 + 30.0 * rng.standard_normal(300)
    rows[100:, 5] *= 1.1
    rows[100:, 6] *= 1.0 + 0.04 * rng.standard_normal(300)
    rows[:, 7] = np.nan
    result = run(rows, reference_of(press_rows(380, seed=3)))
    assert chance(result)[result.at_index > 110].min() > 0.8


def test_two_gross_shots_make_no_judgement_of_their_own() -> None:
    rows = press_rows(110, seed=4)
    rows[105:107, 0] = 65.9
    result = run(rows, reference_of(press_rows(380, seed=3)))
    assert result.at_index.tolist() == list(range(4, 110, 5))
    assert chance(result)[-1] < 0.3


@pytest.mark.parametrize("onset", [100, 101, 102, 103, 104])
@pytest.mark.parametrize("shut", [[0], [1], [2], [0, 3], [1, 2], [0, 1]])
def test_a_valve_that_shuts_now_and_then_is_found_within_5_shots(onset: int, shut: list[int]) -> None:
    """Three gross shots of five suffice, wherever in a block they lie."""
    rows = press_rows(onset + 5, seed=4)
    late = np.delete(np.arange(onset, onset + 5), shut)
    rows[late, 0] = 65.9
    rows[late, 1] = 0.1
    rows[late, 3] = 500.0
    result = run(rows, reference_of(press_rows(380, seed=3)))
    assert chance(result)[-1] > 0.9
    assert chance(result)[result.at_index < onset].max() < 0.2


@pytest.mark.parametrize("onset", [100, 101, 102, 103, 104])
def test_a_leap_that_leaves_cushion_is_over_90_percent_within_5_shots(onset: int) -> None:
    """6 % of the stroke from one shot to the next, far from true bottom, the pressure as ever."""
    rows = press_rows(onset + 5, seed=4)
    rows[onset:, 0] *= 1.06
    rows[onset:, 1] = rows[onset:, 2] - rows[onset:, 0]
    rows[onset:, 7] *= 0.99
    result = run(rows, reference_of(press_rows(380, seed=3)))
    assert chance(result)[-1] > 0.9
    assert chance(result)[result.at_index < onset].max() < 0.2


def test_no_shot_is_counted_twice() -> None:
    """A row takes the last shots from the first gross one on; a block that lends it some is left out."""
    reference = reference_of(press_rows(380, seed=3))
    rows = press_rows(20, seed=4)
    rows[[8, 10, 11, 13], 0] = 65.9
    blocks = summarise(rows, reference=reference)
    found = early_rows(
        rows, rows=blocks, before=np.zeros(WIDTH), first=0, judged=0, reference=reference,
        offset=np.zeros(len(SIGNALS)),
    )  # fmt: skip
    assert [(one.at, one.before, one.done) for one in found] == [(11, 1, 2), (13, 2, 2)]
    for one, taken in zip(found, ([8, 9, 10, 11], [10, 11, 12, 13]), strict=True):
        assert one.row[MEDIAN][0] == np.median(rows[taken, 0])
        assert one.before * BLOCK <= min(taken)


def test_news_of_gross_shots_is_told_once() -> None:
    """What stays gross is judged block by block again."""
    rows = press_rows(200, seed=4)
    rows[100:, 0] = 65.9
    result = run(rows, reference_of(press_rows(380, seed=3)))
    early = [int(at) for at in result.at_index if at % 5 != 4]
    assert early == [102, 103]


def test_wear_over_weeks_is_seen_as_one_rise() -> None:
    """1.5 % in 20,000 shots: 0.075 % in a thousand is nothing, the whole is."""
    n = 20_000
    reference = reference_of(press_rows(380, seed=3))
    rows, sound = press_rows(n, seed=4), press_rows(n, seed=4)
    rows[:, 0] += 0.9 * np.linspace(0, 1, n)
    worn, healthy = run(rows, reference), run(sound, reference)
    facts = dict(zip(FACTS, worn.facts[-1].tolist(), strict=True))
    assert facts["long_rise_pct"] == pytest.approx(1.0, abs=0.15)
    assert facts["long_order"] > 0.95
    assert facts["long_gradual"] > 0.8
    assert facts["long_shots"] > 15_000
    assert chance(worn)[-1] > 0.6
    assert chance(healthy)[-1] < 0.1
    column = TERMS.index("slow_drift")
    assert worn.terms[-1, column] > healthy.terms[-1, column] + 0.5


def test_flash_is_told_from_a_leak_by_weight() -> None:
    reference = reference_of(press_rows(380, seed=3))
    leak = np.concatenate([press_rows(100, seed=4), leaking(200, 5)])
    flash = leak.copy()
    flash[100:, 7] *= 1.03
    assert run(flash, reference).log_odds[-1] < run(leak, reference).log_odds[-1] - 1.5


def test_forty_thousand_shots_take_less_than_a_second() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = np.tile(press_rows(4000, seed=4), (10, 1))
    began = time.process_time()
    assert len(run(rows, reference).log_odds) == 8000
    assert time.process_time() - began < 1.0


def test_the_signals_given_are_the_usual_ones() -> None:
    assert set(USUAL) < set(SIGNALS)


def test_a_rise_bit_by_bit_speaks_louder_than_a_step() -> None:
    """A setting moves in one step, wear does not: both end 3 % up with the same scatter."""
    reference = reference_of(press_rows(380, seed=3))
    wear, step = press_rows(1000, seed=4), press_rows(1000, seed=4)
    wear[300:, 0] += 1.8 * np.linspace(0, 1, 700)
    step[640:, 0] += 1.8
    worn, stepped = run(wear, reference), run(step, reference)
    column = FACTS.index("swept_gradual")
    assert worn.facts[-1, column] > 0.7
    assert stepped.facts[-1, column] <= 0.5
    assert worn.log_odds[-1] > stepped.log_odds[-1] + 1.0


def test_a_weight_from_one_shot_in_ten_is_used() -> None:
    reference = reference_of(press_rows(380, seed=3))
    rows = press_rows(300, seed=4)
    rows[np.arange(300) % 10 != 0, 7] = np.nan
    result = run(rows, reference)
    assert abs(result.facts[-1, FACTS.index("weight_change_pct")]) < 0.2
    assert np.isnan(result.facts[-1, FACTS.index("weight_scatter")])
