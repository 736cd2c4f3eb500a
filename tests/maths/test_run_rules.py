"""Run rules: what marks, what does not, and that batching never matters."""

import time

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.contract import RUN_RULES
from server.maths.run_rules import DEFAULT_N, find, marks, marks_of, memory, run_rule

Floats = npt.NDArray[np.float64]

#: The smallest series that signals at its last point, and the same with the decisive point spoilt.
SIGNALS: dict[str, tuple[list[float], list[float]]] = {
    "beyond_limit": ([0, -3.01], [0, -3.0]),
    "two_of_three_beyond_2_sigma": ([2.1, 0, 2.2], [2.1, 0, -2.2]),
    "four_of_five_beyond_1_sigma": ([1.1, 1.2, -3.0, 1.3, 1.4], [1.1, 1.2, -3.0, 1.0, 1.4]),
    "one_side": ([0.1] * 9, [0.1] * 4 + [0.0] + [0.1] * 4),
    "steady_trend": ([5, 4, 3, 2, 1, 0], [5, 4, 3, 3, 1, 0]),
    "alternating": ([0.0, 1.0] * 7, [0.0, 1.0] * 6 + [1.0, 0.0]),
    "within_1_sigma": ([0.9, -0.9, 0.1] * 5, [0.9, -0.9, 0.1] * 4 + [1.0, 0.1, 0.1]),
    "outside_1_sigma": ([1.1, -1.1] * 4, [1.1] * 8),
}

values = st.lists(
    st.one_of(
        st.sampled_from([0.0, 0.5, -0.5, 1.5, -1.5, 2.5, -2.5, 3.5, -3.5, float("nan")]),
        st.floats(-4, 4),
    ),
    max_size=60,
)


def slow_mark(z: Floats, rule: str, i: int) -> bool:
    """The rule at point i in plain words, without any cleverness."""
    n = DEFAULT_N[rule]
    window = z[max(0, i - n + 1) : i + 1]
    gaps = np.flatnonzero(np.isnan(window))
    window = window[gaps[-1] + 1 :] if gaps.size else window
    if window.size == 0:
        return False
    needed = {"two_of_three_beyond_2_sigma": 2, "four_of_five_beyond_1_sigma": 4}.get(rule)
    if needed:
        limit = 2.0 if needed == 2 else 1.0
        sides = [(w > limit) - (w < -limit) for w in window.tolist()]
        return bool(sides[-1] != 0 and sides.count(sides[-1]) >= needed)
    if window.size < n:
        return False
    d = np.diff(window)
    return {
        "beyond_limit": bool(abs(window[-1]) > 3),
        "one_side": bool((window > 0).all() or (window < 0).all()),
        "steady_trend": bool((d > 0).all() or (d < 0).all()),
        "alternating": bool((d[1:] * d[:-1] < 0).all()),
        "within_1_sigma": bool((np.abs(window) < 1).all()),
        "outside_1_sigma": bool((np.abs(window) > 1).all() and (window > 1).any() and (window < -1).any()),
    }[rule]


@pytest.mark.parametrize("rule", RUN_RULES)
def test_smallest_signal_and_its_spoilt_twin(rule: str) -> None:
    signal, spoilt = SIGNALS[rule]
    assert marks(signal, rule=rule).tolist() == [False] * (len(signal) - 1) + [True]
    assert not marks(spoilt, rule=rule)[-1]


@pytest.mark.parametrize("rule", RUN_RULES)
def test_a_gap_breaks_the_run(rule: str) -> None:
    signal, _ = SIGNALS[rule]
    if len(signal) > 2:
        broken = [*signal[:-1], float("nan"), signal[-1]]
        assert not marks(broken, rule=rule).any()


@pytest.mark.parametrize("rule", RUN_RULES)
@given(z=values)
@settings(max_examples=60, deadline=None)
def test_marks_equal_the_rule_in_plain_words(rule: str, z: list[float]) -> None:
    array = np.array(z, dtype=np.float64)
    assert marks(array, rule=rule).tolist() == [slow_mark(array, rule, i) for i in range(array.size)]


@pytest.mark.parametrize("rule", RUN_RULES)
@given(z=values, cut=st.integers(0, 60))
@settings(max_examples=60, deadline=None)
def test_marks_over_a_prefix_and_new_points_equal_marks_over_all(rule: str, z: list[float], cut: int) -> None:
    array = np.array(z, dtype=np.float64)
    cut = min(cut, array.size)
    back = max(0, cut - memory(rule))
    tail = marks(array[back:], rule=rule)[cut - back :]
    assert tail.tolist() == marks(array, rule=rule)[cut:].tolist()


@pytest.mark.parametrize("rule", RUN_RULES)
@given(z=values)
@settings(max_examples=40, deadline=None)
def test_turning_the_signs_changes_no_mark(rule: str, z: list[float]) -> None:
    array = np.array(z, dtype=np.float64)
    assert (marks(array, rule=rule) == marks(-array, rule=rule)).all()


@given(z=values, shift=st.sampled_from([0.0, 64.0, -1024.0]), scale=st.sampled_from([0.25, 1.0, 8.0]))
@settings(max_examples=60, deadline=None)
def test_findings_move_with_center_and_scale(z: list[float], shift: float, scale: float) -> None:
    # Whole quarters and powers of two: the arithmetic is exact, so the findings must be the same.
    array = np.round(np.array(z, dtype=np.float64) * 4) / 4
    here = find(array, center=0, sigma=1, rules=RUN_RULES)
    assert find(array * scale + shift, center=shift, sigma=scale, rules=RUN_RULES) == here


@given(z=values)
@settings(max_examples=80, deadline=None)
def test_cleared_history_equals_starting_anew(z: list[float]) -> None:
    array = np.array(z, dtype=np.float64)
    expected: list[tuple[str, int]] = []
    start = 0
    for i in range(array.size):
        hit = [r for r in RUN_RULES if marks(array[start : i + 1], rule=r)[-1]]
        expected += [(r, i) for r in hit]
        start = i + 1 if hit else start
    found = find(array, center=0, sigma=1, rules=RUN_RULES, history="clear")
    assert sorted((f.index, f.rule) for f in found) == sorted((i, r) for r, i in expected)


def test_a_finding_names_the_points_it_rests_on() -> None:
    found = find([0, 2.5, 0, 2.5], center=0, sigma=1, rules=["two_of_three_beyond_2_sigma"])
    assert [(f.index, f.from_index) for f in found] == [(3, 1)]
    run = find([1.0] * 10, center=0, sigma=1, rules=[{"rule": "one_side", "n": 8}])
    assert [(f.index, f.from_index) for f in run] == [(7, 0), (8, 1), (9, 2)]


@pytest.mark.parametrize("length", [0, 1, 2])
@pytest.mark.parametrize("rule", RUN_RULES)
def test_short_series(rule: str, length: int) -> None:
    assert marks(np.zeros(length), rule=rule).tolist() == [False] * length


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        ({"rule": "sideways"}, "sideways"),
        ({"rule": "one_side", "n": 1}, "from 2 to 100, got 1"),
        ({"rule": "one_side", "n": 101}, "got 101"),
        ({"rule": "one_side", "n": True}, "got True"),
        ({"rule": "beyond_limit", "limit": float("nan")}, "limit"),
        ({"rule": "four_of_five_beyond_1_sigma", "needed": 6}, "needed"),
    ],
)
def test_a_bad_rule_is_named(ask: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        find([0.0], center=0, sigma=1, rules=[ask])


@pytest.mark.parametrize(
    ("center", "sigma"), [(0, 0), (0, -1), (0, float("nan")), (float("inf"), 1), (0, float("inf"))]
)
def test_center_and_sigma_must_make_sense(center: float, sigma: float) -> None:
    with pytest.raises(ValueError, match=r"center|sigma"):
        find([0.0], center=center, sigma=sigma, rules=["beyond_limit"])


def test_rounding_ends_trends() -> None:
    # Documented: ties neither rise nor fall, so rounded readings signal trends less often.
    x = np.random.default_rng(4).normal(size=200_000)
    fine = marks(x, rule="steady_trend").sum()
    coarse = marks(np.round(x), rule="steady_trend").sum()
    assert coarse < 0.2 * fine


def test_autocorrelation_multiplies_runs_and_heavy_tails_the_limit() -> None:
    rng = np.random.default_rng(5)
    e = rng.normal(size=100_000)
    x = np.empty_like(e)
    x[0] = e[0]
    for i in range(1, e.size):
        x[i] = 0.5 * x[i - 1] + 0.75**0.5 * e[i]
    assert marks(x, rule="one_side").sum() > 3 * marks(e, rule="one_side").sum()
    heavy = rng.standard_t(5, size=100_000) / (5 / 3) ** 0.5
    assert marks(heavy, rule="beyond_limit").sum() > 3 * marks(e, rule="beyond_limit").sum()
    assert marks(heavy, rule="one_side").sum() < 1.3 * marks(e, rule="one_side").sum()


def test_a_new_rule_object_is_frozen() -> None:
    rule = run_rule("one_side")
    with pytest.raises(AttributeError):
        rule.n = 8  # type: ignore[misc]  # on purpose


def test_findings_over_a_hundred_new_shots_are_quick() -> None:
    z = np.random.default_rng(6).normal(size=120)
    best = min(_timed(z) for _ in range(20))
    # 2 ms for all charts of one press is the promise; a tenfold margin for a busy machine.
    assert best < 0.02


def _timed(z: Floats) -> float:
    begin = time.perf_counter()
    find(z, center=0, sigma=1, rules=RUN_RULES)
    return time.perf_counter() - begin


@pytest.mark.parametrize("rule", RUN_RULES)
def test_signals_beside_one_another_are_marked_as_each_by_itself(rule: str) -> None:
    rng = np.random.default_rng(7)
    z = np.cumsum(rng.normal(scale=0.7, size=(200, 4)), axis=0)
    z[:, 1] = rng.normal(scale=2.0, size=200)
    z[rng.random(z.shape) < 0.03] = np.nan
    z[:, 3] = np.nan
    spec = run_rule(rule)
    together = marks_of(z, spec)
    for column in range(4):
        assert together[:, column].tolist() == marks(z[:, column], rule=rule).tolist()
