"""The alarm budget is kept on healthy presses, and what it costs in delay is what the run lengths say."""

import json

import numpy as np
import pytest

from server.maths.alarm_budget import (
    Budget,
    Kind,
    plan_charts,
    shots_to_find,
    widened,
    width_for,
)
from server.maths.group_scores import Grouping, grouping_for, level_and_scatter
from server.maths.run_length_charts import ewma_steady
from server.maths.watch_charts import LEARNS, Bank, Design, limits, step, student_to_normal
from server.settings import outside
from tests.maths.budget_proof import BUDGET, MOVES, healthy_row, proof
from tests.maths.budget_world import LANES, Lane, false_alarms, shots_until_found


def test_the_stricter_bound_governs() -> None:
    assert Budget(presses=14).per_press == 0.2
    assert Budget(presses=200).per_press == pytest.approx(21.0 / 200.0)


def test_all_charts_together_stay_within_the_share_of_the_press() -> None:
    charts: list[tuple[str, Kind, float]] = [("swept_mm", "level", 0.0), ("shot_size_mm", "scatter", 0.4)]
    plan = plan_charts(charts, per_press=0.2, cycle_s=30)
    assert plan.per_week == pytest.approx(0.9 * 0.2)
    assert plan.grouping == Grouping(25, 5)


def test_more_charts_have_wider_limits() -> None:
    one = plan_charts([("swept_mm", "level", 0.0)], per_press=0.2, cycle_s=20)
    six = plan_charts([("swept_mm", "level", 0.0)] * 6, per_press=0.2, cycle_s=20)
    assert six.charts[0].width > one.charts[0].width


def test_a_limit_has_the_published_run_length() -> None:
    # Lucas & Saccucci, Technometrics 32 (1990), table of EWMA limits: ARL 500 at lambda 0.1, L 2.814.
    assert width_for(500.0, weight=0.1, two_sided=True) == pytest.approx(2.814, abs=1e-3)


@pytest.mark.parametrize("budget", [0.0, -1.0, float("nan")])
def test_a_budget_that_is_none_is_refused(budget: float) -> None:
    with pytest.raises(ValueError, match="per_press must be above 0"):
        plan_charts([("swept_mm", "level", 0.0)], per_press=budget, cycle_s=20)


def test_what_is_known_of_a_press_draws_its_limits_in() -> None:
    wide = [widened(4.2, groups=groups) for groups in (4, 40, 400, 4000)]
    assert wide == sorted(wide, reverse=True)
    assert wide[-1] == pytest.approx(1.0, abs=0.01)


def test_student_as_normal_is_close_to_the_exact_quantile() -> None:
    from scipy.special import ndtri, stdtr

    for freedom in (3.0, 10.0, 100.0):
        for t in (-3.0, 0.5, 2.0, 4.0):
            exact = float(ndtri(stdtr(freedom, t)))
            found = float(student_to_normal(np.array(t), np.array(freedom)))
            assert found == pytest.approx(exact, abs=0.03)


def test_neighbours_that_lean_on_each_other_are_set_aside() -> None:
    assert [grouping_for(phi).aside for phi in (-0.3, 0.05, 0.5, 0.75, 0.95)] == [0, 0, 5, 10, 20]


def test_a_group_with_too_few_values_says_nothing() -> None:
    z = np.full((25, 1), np.nan)
    z[:10] = 0.0
    level, scatter = level_and_scatter(z, anchor=np.zeros(1))
    assert np.isnan(level).all()
    assert np.isnan(scatter).all()


def _watched(values: list[float], *, width: float = 4.0, learn: int = 120) -> tuple[Bank, list[bool]]:
    design = Design(np.array([0.2]), np.array([width]), np.array([False]))
    bank, opened = Bank.empty(1), []
    for number, value in enumerate(values):
        bank = step(bank, np.array([value]), design, speaks=number >= learn, complete=number >= learn)
        opened.append(bool(bank.active[0] > 0))
    return bank, opened


def _calm(count: int, seed: int = 3) -> list[float]:
    return [float(one) for one in 0.2 * np.random.default_rng(seed).standard_normal(count)]


def test_a_step_opens_stays_open_and_closes_when_it_is_over() -> None:
    calm = _calm(200)
    _, opened = _watched([*calm, *(one + 1.0 for one in _calm(50, 4)), *_calm(60, 5)])
    assert not any(opened[:200])
    assert all(opened[205:250])
    assert not any(opened[280:])


def test_nothing_is_learnt_from_groups_while_a_chart_signals() -> None:
    before, _ = _watched(_calm(200))
    after, _ = _watched([*_calm(200), *(one + 2.0 for one in _calm(100, 4))])
    assert abs(float(after.mean[0]) - float(before.mean[0])) < 0.05


def test_a_level_that_wanders_gets_wider_limits() -> None:
    design = Design(np.array([0.2]), np.array([4.0]), np.array([False]))
    rng = np.random.default_rng(8)
    wander = np.zeros(400)
    for i in range(1, 400):
        wander[i] = 0.95 * wander[i - 1] + 0.1 * rng.standard_normal()
    steady, _ = _watched(_calm(400), learn=400)
    restless, _ = _watched([float(one) for one in wander + 0.1 * rng.standard_normal(400)], learn=400)
    assert float(limits(steady, design, complete=True)[0]) < 1.6
    assert float(limits(restless, design, complete=True)[0]) > 2.0 * float(
        limits(steady, design, complete=True)[0]
    )


def test_a_known_change_is_learnt_and_not_called() -> None:
    design = Design(np.array([0.2]), np.array([4.0]), np.array([False]))
    bank, _ = _watched(_calm(200))
    bank = bank.with_new_level(np.array([True]))
    for value in _calm(150, 9):
        bank = step(bank, np.array([value + 5.0]), design, speaks=True, complete=True)
        assert not bank.active[0]
    assert float(bank.mean[0]) == pytest.approx(5.0, abs=0.1)
    assert bank.n[0] == LEARNS


def test_the_computed_delay_is_the_simulated_one() -> None:
    charts: list[tuple[str, Kind, float]] = [
        *[("swept_mm", "level", 0.3)] * 6,  # type: ignore[list-item]  # the kinds are literals
        *[("swept_mm", "scatter", 0.3)] * 3,  # type: ignore[list-item]  # the kinds are literals
    ]
    plan = plan_charts(charts, per_press=BUDGET, cycle_s=20)
    chart = plan.charts[0]
    for shift in (0.5, 1.0):
        computed = shots_to_find(
            shift=shift, phi=0.3, weight=chart.weight, width=chart.width, grouping=plan.grouping
        )
        simulated = shots_until_found(
            phi=0.3, shift=shift, runs=100, seed=4, per_press=BUDGET, learnt=1500, most=2_500
        )
        assert float(simulated.mean()) == pytest.approx(computed, rel=0.2)


def test_a_few_healthy_press_weeks_stay_within_the_budget() -> None:
    """The small version of the proof: a plan without its estimation errors would fail it many times over."""
    row = healthy_row(LANES[7], presses=12, weeks=2, seed=5)
    assert row["press_weeks"] == 24
    assert row["low"] <= BUDGET


def test_limits_that_are_too_narrow_are_noticed() -> None:
    """The same press-weeks under thirty times the budget spend what they were told to."""
    lane = Lane("narrow", 0.3, "normal", 0.2)
    opened = false_alarms(lane, presses=12, weeks=1, per_press=6.0, seed=5)
    assert opened.sum() / 12.0 > 5.0 * BUDGET


def test_the_proof_that_ships_was_made_with_this_budget_and_holds() -> None:
    found = json.loads((outside("shared") / "alarm_proof.json").read_text(encoding="utf-8"))
    assert [row["name"] for row in found["healthy"]] == [lane.name for lane in LANES]
    assert {row["name"] for row in found["delays"]} == {name for name, _ in MOVES}
    check_proof(found)


def check_proof(found: dict[str, object]) -> None:
    """Over-spending never, under-spending by at most half of what the charts may spend."""
    everything = found["all"]
    assert isinstance(everything, dict)
    assert everything["press_weeks"] >= 2_000
    assert everything["high"] <= BUDGET
    assert everything["per_press_week"] >= 0.5 * 0.9 * BUDGET
    healthy = found["healthy"]
    assert isinstance(healthy, list)
    for row in healthy:
        assert row["per_press_week"] <= BUDGET, row["name"]


@pytest.mark.campaign
def test_the_budget_is_kept_over_two_thousand_press_weeks() -> None:
    check_proof(proof(runs=50))


@pytest.mark.parametrize("weight", [0.05, 0.3])
@pytest.mark.parametrize("two_sided", [True, False])
def test_limits_from_the_curve_have_the_run_length_of_the_equation(weight: float, two_sided: bool) -> None:
    for wanted in (25.0, 1e3, 1e5, 1e8):
        width = width_for(wanted, weight=weight, two_sided=two_sided)
        got = ewma_steady(weight=weight, L=width, shift=0.0, two_sided=two_sided)
        assert got == pytest.approx(wanted, rel=1e-3)
