"""Run lengths: simulation against the exact forms, autocorrelation, and the design turned round."""

import math

import pytest

from server.contract import RUN_RULES
from server.maths.results import Undetermined
from server.maths.run_length import (
    RunLength,
    cusum_limit,
    ewma_limit,
    of_cusum,
    of_ewma,
    of_individuals,
    of_rules,
    shewhart_limit,
)
from server.maths.run_length_simulated import CusumLanes, EwmaLanes, simulated_chart, simulated_rules
from server.maths.run_rules import run_rule
from tests.maths.cases import everything


def known(found: RunLength | Undetermined) -> RunLength:
    assert isinstance(found, RunLength), found
    return found


@pytest.mark.parametrize(
    ("case_id", "rules"),
    [
        ("C-combo-all8", list(RUN_RULES)),
        ("C-combo-N123", ["beyond_limit", "one_side", "steady_trend"]),
        (
            "C-combo-N12356",
            [
                "beyond_limit",
                "one_side",
                "steady_trend",
                "two_of_three_beyond_2_sigma",
                "four_of_five_beyond_1_sigma",
            ],
        ),
    ],
)
def test_combinations_without_exact_form_agree_with_long_simulations(case_id: str, rules: list[str]) -> None:
    case = everything()[case_id]
    found = known(of_rules(rules))
    assert found.method == "monte_carlo"
    assert found.standard_error is not None
    room = 4 * math.hypot(found.standard_error, case["computed"]["mc_se"])
    assert abs(found.arl - case["expected"]) < max(room, 0.002 * case["expected"])


@pytest.mark.parametrize(
    "rules",
    [
        ["beyond_limit"],
        ["one_side"],
        ["two_of_three_beyond_2_sigma"],
        ["four_of_five_beyond_1_sigma"],
        ["within_1_sigma"],
        ["steady_trend"],
        ["alternating"],
        ["beyond_limit", "one_side", "within_1_sigma", "outside_1_sigma"],
    ],
)
@pytest.mark.parametrize("shift", [0.0, 0.7])
def test_exact_run_lengths_of_rules_agree_with_simulation(rules: list[str], shift: float) -> None:
    exact = known(of_rules(rules, shift=shift))
    assert exact.standard_error is None
    drawn = simulated_rules([run_rule(r) for r in rules], shift=shift, points=3_000_000)
    assert abs(drawn.arl - exact.arl) < 4 * drawn.standard_error


def test_the_direction_of_a_shift_does_not_matter() -> None:
    rules = ["beyond_limit", "one_side", "two_of_three_beyond_2_sigma"]
    assert known(of_rules(rules, shift=1)).arl == pytest.approx(known(of_rules(rules, shift=-1)).arl)
    up, down = known(of_ewma(weight=0.2, L=3, shift=1)), known(of_ewma(weight=0.2, L=3, shift=-1))
    assert up.arl == pytest.approx(down.arl)


@pytest.mark.parametrize("exact", [False, True])
def test_simulated_ewma_agrees(exact: bool) -> None:
    limits = "exact" if exact else "steady"
    found = known(of_ewma(weight=0.2, L=2.7, limits=limits, shift=0.5))
    drawn = simulated_chart(EwmaLanes(0.2, 2.7, exact=exact), shift=0.5)
    assert abs(drawn.arl - found.arl) < 4 * drawn.standard_error


def test_simulated_one_sided_charts_agree() -> None:
    found = known(of_ewma(weight=0.2, L=2.5, two_sided=False, shift=0.5))
    drawn = simulated_chart(EwmaLanes(0.2, 2.5, exact=False, two_sided=False), shift=0.5)
    assert abs(drawn.arl - found.arl) < 4 * drawn.standard_error
    one = known(of_cusum(k=0.5, h=4, headstart=2, two_sided=False, shift=0.5))
    lanes = CusumLanes(0.5, 4, headstart=2, two_sided=False)
    again = simulated_chart(lanes, shift=0.5)
    assert abs(again.arl - one.arl) < 4 * again.standard_error


@pytest.mark.parametrize("headstart", [2.5, 3.0, 4.5])
def test_two_sided_cusum_with_any_headstart(headstart: float) -> None:
    # Exact up to h/2 + k = 3.0, simulated above.
    found = known(of_cusum(headstart=headstart, shift=0.5))
    assert (found.standard_error is None) == (headstart <= 3.0)
    drawn = simulated_chart(CusumLanes(0.5, 5.0, headstart), shift=0.5, seed=7)
    error = math.hypot(drawn.standard_error, found.standard_error or 0.0)
    assert abs(drawn.arl - found.arl) < 4 * error


def test_autocorrelation_shortens_run_lengths_of_all_charts_that_gather() -> None:
    assert known(of_cusum(phi=0.5)).arl < 0.3 * known(of_cusum()).arl
    assert known(of_ewma(weight=0.1, L=2.8, phi=0.5)).arl < 0.3 * known(of_ewma(weight=0.1, L=2.8)).arl
    assert known(of_rules(["one_side"], phi=0.5)).arl < 0.3 * 511


def test_simulated_rules_under_autocorrelation_agree_with_the_integral() -> None:
    # History cleared is nothing for a single limit, so cycles of the stationary process have mean
    # 1/p; the integral starts anew from the stationary law, which is longer by the clumping.
    drawn = simulated_rules([run_rule("beyond_limit")], shift=0.0, phi=0.5, points=4_000_000)
    assert abs(drawn.arl - 370.398) < 4 * drawn.standard_error
    assert known(of_rules(["beyond_limit"], phi=0.5)).arl == pytest.approx(396.281, rel=1e-4)


@pytest.mark.parametrize("arl", [100.0, 100_000.0])
def test_designs_turned_round_give_back_what_was_asked(arl: float) -> None:
    assert known(of_individuals(x_limit=shewhart_limit(arl=arl))).arl == pytest.approx(arl, rel=1e-5)
    width = ewma_limit(arl=arl, weight=0.2)
    assert known(of_ewma(weight=0.2, L=width)).arl == pytest.approx(arl, rel=1e-5)
    assert known(of_cusum(h=cusum_limit(arl=arl))).arl == pytest.approx(arl, rel=1e-5)


def test_a_wanted_run_length_out_of_reach_is_named() -> None:
    with pytest.raises(ValueError, match="arl"):
        shewhart_limit(arl=1e9)


def test_run_lengths_beyond_arithmetic_are_undetermined() -> None:
    assert isinstance(of_cusum(h=50), Undetermined)
    assert isinstance(of_individuals(x_limit=9), Undetermined)
    assert isinstance(of_cusum(h=40, phi=0.01), Undetermined)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: of_rules([]), "rules"),
        (lambda: of_rules(["beyond_limit"], shift=math.nan), "shift"),
        (lambda: of_rules(["beyond_limit"], phi=1.0), "phi"),
        (lambda: of_ewma(weight=0.0, L=3), "lambda"),
        (lambda: of_ewma(weight=0.2, L=3, limits="loose"), "limits"),
        (lambda: of_cusum(h=0), "h must"),
        (lambda: of_cusum(headstart=6), "headstart"),
        (lambda: of_individuals(x_limit=-1), "x_limit"),
        (lambda: of_individuals(mr_limit=math.inf), "mr_limit"),
    ],
)
def test_bad_parameters_are_named(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=words):
        call()
