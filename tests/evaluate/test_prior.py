"""The prior over a press's history: age, checks, their fading, and the same bits in any batches."""

import itertools
import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.evaluate.prior import Mark, Priors, check_log_odds, priors
from server.valve.checks import age_log_odds, from_text, total

MARKS = (
    Mark(at_ms=1_000, kind="valve", number=1, shots_before=200),
    Mark(at_ms=150_500, kind="drift-check", number=1, log_odds=-0.9),
    Mark(at_ms=300_000, kind="short-shot", number=2, log_odds=1.3),
    Mark(at_ms=450_500, kind="drift-check", number=3, log_odds=2.0),
    Mark(at_ms=600_500, kind="valve", number=2, shots_before=0),
    Mark(at_ms=710_500, kind="proof", number=4, log_odds=-2.3),
)
AT = np.arange(1, 801, dtype=np.int64) * 1000


def over(at_ms: np.ndarray = AT, *, marks: tuple[Mark, ...] = MARKS, life: float = 1000.0) -> Priors:
    return priors(
        at_ms, before_ms=-1, ordinal=0, passed={}, marks=marks, prevalence_log_odds=-3.0, life_shots=life
    )


def sources(found: Priors, position: int) -> list[str]:
    return [part.source for part in from_text(found.text_at(position))]


def test_without_marks_the_prior_is_the_prevalence() -> None:
    found = over(marks=())
    assert set(found.log_odds) == {-3.0}
    assert sources(found, 500) == ["prevalence"]


def test_each_mark_counts_from_its_moment_on_and_a_new_valve_ends_the_checks_of_the_old() -> None:
    found = over()
    assert sources(found, 148) == ["prevalence", "valve_age"]
    assert sources(found, 150) == ["prevalence", "valve_age", "drift-check"]
    assert sources(found, 300) == ["prevalence", "valve_age", "drift-check", "short-shot"]
    assert sources(found, 599) == ["prevalence", "valve_age", "drift-check", "short-shot"]
    assert sources(found, 600) == ["prevalence", "valve_age"]
    assert sources(found, 710) == ["prevalence", "valve_age", "proof"]


def test_the_last_check_of_a_kind_stands() -> None:
    (drift,) = [part for part in from_text(over().text_at(520)) if part.source == "drift-check"]
    assert (drift.number, drift.log_odds) == (3, 2.0)


def test_age_counts_shots_in_hundreds_on_top_of_those_before() -> None:
    parts = {part.source: part for part in from_text(over().text_at(555))}
    assert parts["valve_age"].shots == 700
    assert parts["valve_age"].log_odds == age_log_odds(700, expected_life_shots=1000)


def test_without_a_stated_life_age_says_nothing() -> None:
    assert sources(over(life=0.0), 555) == ["prevalence", "drift-check", "short-shot"]


def test_a_valve_in_before_the_first_shot_with_no_count_has_no_age() -> None:
    unknown = (Mark(at_ms=0, kind="valve", number=1), Mark(at_ms=400_500, kind="valve", number=2))
    found = over(marks=unknown)
    assert sources(found, 300) == ["prevalence"]
    assert sources(found, 500) == ["prevalence", "valve_age"]


def test_the_parts_sum_to_the_prior_and_checks_alone_are_told_apart() -> None:
    found = over()
    for position in range(0, 800, 7):
        parts = from_text(found.text_at(position))
        assert total(parts) == found.log_odds[position]
        checks = [part for part in parts if part.source not in ("prevalence", "valve_age")]
        assert total(checks) == found.checked[position]


@given(st.lists(st.integers(1, 799), max_size=12))
def test_any_batches_give_the_same_bits(cuts: list[int]) -> None:
    whole = over()
    passed: dict[tuple[str, int], int] = {}
    parts: list[Priors] = []
    edges = [0, *sorted(set(cuts)), 800]
    for begin, end in itertools.pairwise(edges):
        one = priors(
            AT[begin:end],
            before_ms=int(AT[begin - 1]) if begin else -1,
            ordinal=begin,
            passed=passed,
            marks=MARKS,
            prevalence_log_odds=-3.0,
            life_shots=1000.0,
        )
        passed = one.passed
        parts.append(one)
    assert np.concatenate([one.log_odds for one in parts]).tobytes() == whole.log_odds.tobytes()
    assert passed == whole.passed
    assert [one.text_at(0) for one in parts] == [whole.text_at(begin) for begin in edges[:-1]]


def test_studies_say_what_their_numbers_say_and_nothing_where_they_are_missing() -> None:
    crept = {"creep_mm_s": 0.5, "creep_interval": [0.4, 0.6]}
    assert (check_log_odds("drift-check", asked={}, result=crept, verdict="act") or 0) > 2
    assert check_log_odds("drift-check", asked={}, result={}, verdict="act") is None
    assert check_log_odds("gate-seal", asked={}, result={}, verdict="") is None
    assert check_log_odds("inspection", asked={}, result={}, verdict="failed") == math.log(35.0)
    weights = {"weights_g": [1.0] * 10, "limit_pct": 5.0}
    assert (check_log_odds("short-shot", asked=weights, result={"cv_pct": 0.2}, verdict="") or 0) < -1


def test_a_proof_says_what_was_proven_unless_the_shots_did_not_bear_it_out() -> None:
    asked = {"action": "valve", "counts": True}
    said = check_log_odds("proof", asked=asked, result={}, verdict="fixed")
    assert said == math.log(0.05 / 0.5)
    assert check_log_odds("proof", asked={**asked, "counts": False}, result={}, verdict="fixed") is None
    assert check_log_odds("proof", asked=asked, result={}, verdict="guess") is None
    assert check_log_odds("proof", asked={}, result={}, verdict="fixed") is None
