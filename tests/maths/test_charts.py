"""Charts: continuation bit for bit, gaps, scatter, several signals at once."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.maths.charts import Individuals, Subgroups, individuals, subgroups
from server.maths.constants import chart_constants, d2
from server.maths.multivariate import Reference, reference, shares, t_squared, t_squared_limit
from server.maths.results import Undetermined
from server.maths.scatter import scatter_ewma
from server.maths.smoothing import cusum, ewma
from tests.maths.series import ar1, normal

finite = st.lists(st.one_of(st.floats(-50, 50), st.just(math.nan)), min_size=1, max_size=50)


def test_a_gap_ends_a_range() -> None:
    found = individuals([1.0, 2.0, math.nan, 10.0, 11.0])
    assert isinstance(found, Individuals)
    assert found.mr_bar == 1.0
    assert found.mean == 6.0
    assert found.n == 4


@pytest.mark.parametrize("x", [[], [1.0], [1.0, math.nan], [1.0, math.nan, 2.0]])
def test_individuals_without_neighbours_are_undetermined(x: list[float]) -> None:
    assert isinstance(individuals(x), Undetermined)


def test_individuals_of_constant_values_signal_nothing() -> None:
    found = individuals([5.0] * 20)
    assert isinstance(found, Individuals)
    assert (found.sigma, found.signals, found.mr_signals) == (0.0, (), ())


@given(
    x=st.lists(st.integers(-1000, 1000), min_size=2, max_size=40),
    shift=st.integers(-4096, 4096),
    scale=st.sampled_from([0.5, 2.0, 16.0]),
)
@settings(max_examples=60, deadline=None)
def test_individuals_move_with_zero_and_unit(x: list[int], shift: int, scale: float) -> None:
    here = individuals(np.array(x, dtype=np.float64))
    there = individuals(np.array(x) * scale + shift)
    assert isinstance(here, Individuals)
    assert isinstance(there, Individuals)
    assert there.sigma == pytest.approx(here.sigma * scale, rel=1e-9)
    assert there.mean == pytest.approx(here.mean * scale + shift, abs=1e-6)


@pytest.mark.parametrize("bad", [math.inf, -math.inf])
def test_infinities_are_refused_by_every_chart(bad: float) -> None:
    x = [1.0, bad, 2.0]
    with pytest.raises(ValueError, match="index 1"):
        individuals(x)
    with pytest.raises(ValueError, match="index 1"):
        ewma(x, target=0, sigma=1)
    with pytest.raises(ValueError, match="index 1"):
        cusum(x, target=0)
    with pytest.raises(ValueError, match="index 1"):
        scatter_ewma(x, sigma=1)
    with pytest.raises(ValueError, match="index 1"):
        subgroups([[1.0, bad], [1.0, 2.0]])


def test_subgroup_limits_follow_range_or_deviation() -> None:
    table = np.random.default_rng(1).normal(10, 2, (200, 5))
    by_range, by_deviation = subgroups(table), subgroups(table, spread="deviation")
    assert isinstance(by_range, Subgroups)
    assert isinstance(by_deviation, Subgroups)
    c = chart_constants(5)
    assert by_range.ucl - by_range.mean == pytest.approx(c.a2 * by_range.r_bar)
    assert by_deviation.ucl - by_deviation.mean == pytest.approx(c.a3 * by_deviation.s_bar)
    assert by_range.sigma == pytest.approx(2, rel=0.1)
    assert by_deviation.sigma == pytest.approx(2, rel=0.1)


def test_a_subgroup_with_a_gap_is_left_out() -> None:
    found = subgroups([[1.0, 2.0], [math.nan, 2.0], [2.0, 3.0]])
    assert isinstance(found, Subgroups)
    assert found.subgroups == 2
    assert math.isnan(found.means[1])
    assert isinstance(subgroups([[math.nan, 1.0]]), Undetermined)


@pytest.mark.parametrize("n", [30, 100, 1000])
def test_d2_of_large_subgroups_agrees_with_simulation(n: int) -> None:
    x = np.random.default_rng(n).normal(size=(4000, n))
    ranges = np.ptp(x, axis=1)
    assert d2(n) == pytest.approx(ranges.mean(), abs=4 * ranges.std() / math.sqrt(4000))


@pytest.mark.parametrize("n", [0, 1, 1001, True, 2.0])
def test_a_bad_subgroup_size_is_named(n: int) -> None:
    with pytest.raises(ValueError, match="n must be a whole number from 2 to 1000"):
        chart_constants(n)


@given(x=finite, cut=st.integers(0, 50), weight=st.sampled_from([0.05, 0.2, 1.0]))
@settings(max_examples=80, deadline=None)
def test_ewma_can_be_continued_bit_for_bit(x: list[float], cut: int, weight: float) -> None:
    cut = min(cut, len(x))
    whole = ewma(x, target=1.5, sigma=2, weight=weight)
    first = ewma(x[:cut], target=1.5, sigma=2, weight=weight)
    start = float(first.z[-1]) if cut else 1.5
    seen = int(np.isfinite(x[:cut]).sum()) if cut else 0
    rest = ewma(x[cut:], target=1.5, sigma=2, weight=weight, start=start, seen_before=seen)
    # `start - target` may cost the last bit; nothing more.
    assert np.allclose(rest.z, whole.z[cut:], rtol=0, atol=1e-13)
    assert rest.ucl.tolist() == whole.ucl[cut:].tolist()


@given(x=finite, cut=st.integers(0, 50))
@settings(max_examples=80, deadline=None)
def test_cusum_can_be_continued_bit_for_bit(x: list[float], cut: int) -> None:
    cut = min(cut, len(x))
    whole = cusum(x, target=1.5, sigma=2, headstart=2.5)
    first = cusum(x[:cut], target=1.5, sigma=2, headstart=2.5)
    state = (float(first.high[-1]), float(first.low[-1])) if cut else (2.5, 2.5)
    rest = cusum(x[cut:], target=1.5, sigma=2, state=state)
    assert rest.high.tolist() == whole.high[cut:].tolist()
    assert rest.low.tolist() == whole.low[cut:].tolist()


@given(x=finite)
@settings(max_examples=60, deadline=None)
def test_charts_are_symmetric(x: list[float]) -> None:
    array = np.array(x)
    up, down = cusum(array, target=0), cusum(-array, target=0)
    assert up.high.tolist() == down.low.tolist()
    there, back = ewma(array, target=0, sigma=1), ewma(-array, target=0, sigma=1)
    assert there.signals == back.signals


def test_gaps_hold_the_state_and_never_signal() -> None:
    found = ewma([9.0, math.nan, math.nan], target=0, sigma=1, limits="steady")
    assert found.z.tolist() == pytest.approx([1.8, 1.8, 1.8])
    assert found.signals == (0,)
    sums = cusum([9.0, math.nan], target=0)
    assert sums.high.tolist() == [8.5, 8.5]
    assert sums.signals == (0,)


def test_empty_series_give_empty_charts() -> None:
    assert ewma([], target=0, sigma=1).z.size == 0
    assert cusum([], target=0).high.size == 0
    assert scatter_ewma([], sigma=1).z.size == 0


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        ({"weight": 0.0}, "lambda"),
        ({"weight": 1.1}, "lambda"),
        ({"sigma": 0.0}, "sigma"),
        ({"L": -1.0}, "L must"),
        ({"target": math.nan}, "target"),
        ({"limits": "loose"}, "limits"),
    ],
)
def test_bad_ewma_parameters_are_named(ask: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ewma([1.0], **{"target": 0.0, "sigma": 1.0, **ask})


# --- scatter -------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [None, 0.3, 1.0])
@pytest.mark.parametrize("phi", [0.0, 0.3])
def test_scatter_chart_is_centred_and_as_wide_as_it_says(step: float | None, phi: float) -> None:
    x = ar1(60_000, phi=phi, seed=9)
    if step is not None:
        x = np.round(x / step + 0.2) * step
    found = scatter_ewma(x, sigma=1, step=step, phi=phi)
    z = found.z[500:]
    assert z.mean() == pytest.approx(0.0, abs=0.03)
    assert z.std() == pytest.approx(float(found.ucl[0]) / 3, rel=0.12)


def test_scatter_chart_sees_doubled_scatter_and_not_a_moved_level() -> None:
    louder = scatter_ewma(np.concatenate([normal(300, seed=1), normal(200, seed=2, sigma=2)]), sigma=1)
    assert any(300 <= i < 360 for i in louder.signals)
    moved = normal(500, seed=3)
    moved[300:] += 6.0
    assert len(scatter_ewma(moved, sigma=1).signals) <= 10


def test_scatter_chart_can_be_continued() -> None:
    x = normal(100, seed=4)
    whole = scatter_ewma(x, sigma=1)
    # The value before the cut is needed for the first move.
    rest = scatter_ewma(x[59:], sigma=1, start=float(whole.z[59]))
    assert rest.z[1:].tolist() == whole.z[60:].tolist()


# --- several signals -----------------------------------------------------------------------


def healthy(m: int, seed: int = 1) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.float64]], Reference]:
    mix = np.array([[1.0, 0.8, 0.0], [0.0, 0.6, 0.3], [0.0, 0.0, 1.0]])
    x = np.random.default_rng(seed).normal(size=(m, 3)) @ mix * [0.01, 5.0, 0.2] + [12.0, 800.0, 3.0]
    ref = reference(x, names=("cushion", "pressure", "recovery"))
    assert isinstance(ref, Reference)
    return x, ref


def test_t_squared_limits_are_crossed_as_often_as_promised() -> None:
    x, ref = healthy(60)
    fresh, _ = healthy(100_000, seed=2)
    # The phase-2 limit holds on average over references; many references, then.
    shares_out = []
    for seed in range(60):
        _, ref = healthy(60, seed=seed + 10)
        limit = t_squared_limit(m=60, p=3, alpha=0.01)
        shares_out.append(float((t_squared(fresh[:4000], against=ref) > limit).mean()))
    assert np.mean(shares_out) == pytest.approx(
        0.01, abs=4 * float(np.std(shares_out)) / math.sqrt(60) + 1e-3
    )
    inside = t_squared(x, against=healthy(60)[1])
    assert (inside < t_squared_limit(m=60, p=3, alpha=1e-6, phase=1)).all()


def test_t_squared_does_not_depend_on_units() -> None:
    x, ref = healthy(80)
    scaled = reference(x * [25.4, 0.1, 60.0] + 7, names=ref.names)
    assert isinstance(scaled, Reference)
    here = t_squared(x, against=ref)
    assert np.allclose(t_squared(x * [25.4, 0.1, 60.0] + 7, against=scaled), here, rtol=1e-8)


def test_the_responsible_signal_is_named_first() -> None:
    _, ref = healthy(200)
    for k, name in enumerate(ref.names):
        row = ref.mean.copy()
        row[k] += 6 * math.sqrt(ref.covariance[k, k])
        found = shares(row, against=ref)
        assert found[0].name == name
        assert found[0].p < 1e-6


def test_what_a_signal_adds_is_the_fall_of_t_squared_without_it() -> None:
    x, ref = healthy(100)
    row = x[3] + [0.02, -3.0, 0.5]
    whole = float(t_squared([row], against=ref)[0])
    for k, name in enumerate(ref.names):
        rest = [j for j in range(3) if j != k]
        part = Reference(ref.mean[rest], ref.covariance[np.ix_(rest, rest)], 100, ("a", "b"))
        expected = whole - float(t_squared([row[rest]], against=part)[0])
        found = next(s for s in shares(row, against=ref) if s.name == name)
        assert found.given_rest == pytest.approx(expected, rel=1e-9)


def test_dependent_and_constant_signals_are_named() -> None:
    shot, cushion = normal(50, seed=1), normal(50, seed=2)
    tied = reference(
        np.column_stack([shot, cushion, shot - cushion]), names=("shot_size", "cushion", "swept")
    )
    assert tied == Undetermined("shot_size, cushion, swept determine each other: leave one out")
    flat = reference(np.column_stack([shot, np.ones(50)]), names=("a", "b"))
    assert flat == Undetermined("b is constant: leave it out")
    assert isinstance(reference(np.zeros((3, 2)), names=("a", "b")), Undetermined)


def test_rows_with_a_gap_have_no_t_squared() -> None:
    _, ref = healthy(50)
    found = t_squared([[12.0, math.nan, 3.0], [12.0, 800.0, 3.0]], against=ref)
    assert np.isnan(found[0])
    assert found[1] >= 0
