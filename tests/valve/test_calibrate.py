"""The fit is fixed by its seed and keeps the signs of the trade; the model that ships is what it makes."""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from server.contract import CAUSES, LEAK_CAUSES
from server.valve import calibrate, model
from server.valve.calibration_dice import Dice
from server.valve.calibration_rows import gather
from server.valve.calibration_signature import draw_signals
from server.valve.calibration_start import FALLS, RISES, START
from server.valve.calibration_stories import MIX
from server.valve.calibration_world import FAMILIES, draw_case
from server.valve.judgement import TERMS
from server.valve.model import MODEL
from server.valve.shapes import EVIDENCE, TWO_SIGNALS, design


def test_a_small_fit_is_the_same_again_and_keeps_its_signs() -> None:
    one = calibrate.fit(presses=25, seed=3)
    two = calibrate.fit(presses=25, seed=3)
    assert calibrate.as_modules(one) == calibrate.as_modules(two)
    for name in RISES | FALLS:
        term, shape = name.split(".", 1)
        side = 1.0 if name in RISES else -1.0
        assert side * one["terms"][term][shape] >= 0.0, name
        assert side * one["terms_of_two"].get(term, {}).get(shape, 0.0) >= 0.0, name


def test_the_modules_that_ship_are_those_the_command_writes() -> None:
    for name, text in calibrate.as_modules(MODEL).items():
        assert Path(model.__file__).with_name(name).read_text(encoding="utf-8") == text, name


def test_the_shipped_model_is_of_this_version_seed_and_size() -> None:
    assert MODEL["version"] == calibrate.VERSION
    assert (MODEL["seed"], MODEL["presses"]) == (calibrate.SEED, calibrate.PRESSES)
    weights = json.dumps({key: MODEL[key] for key in ("terms", "terms_of_two", "causes", "few_signals")})
    assert hashlib.sha256(weights.encode()).hexdigest()[:16] == MODEL["digest"]


def test_the_shipped_model_names_what_the_judgement_knows() -> None:
    case = draw_case(8, family="physical")
    assert case is not None
    known = set(design(case.facts).columns)
    assert set(MODEL["terms"]) == set(EVIDENCE) == set(TERMS) - {"few_signals"}
    assert set(MODEL["terms_of_two"]) == set(TWO_SIGNALS)
    assert set(MODEL["causes"]) == set(CAUSES)
    for terms in (MODEL["terms"], MODEL["terms_of_two"], START["terms"]):
        for term, shapes in terms.items():
            assert {f"{term}.{shape}" for shape in shapes} <= known
    for weights in (*MODEL["causes"].values(), *START["causes"].values()):
        assert set(weights) <= known
    assert known >= RISES | FALLS


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("cause", sorted(MIX))
def test_cases_say_what_was_put_in(family: str, cause: str) -> None:
    case = draw_case(60, family=family, cause=cause)
    assert case is not None
    leaks = cause in LEAK_CAUSES
    assert case.leaking.any() == leaks
    assert not case.leaking[case.shot < case.onset].any()


def test_rows_come_whole_thinned_and_with_two_signals() -> None:
    cases = {0: [case for i in range(6) if (case := draw_case(200 + i, family="signature")) is not None]}
    rows = gather(cases, seed=1)
    n = len(rows.leaking) // 3
    assert rows.few[2 * n :].all()
    assert rows.few[:n].sum() <= rows.few[n : 2 * n].sum()
    assert rows.leaking[:n].tolist() == rows.leaking[2 * n :].tolist()


def test_marks_of_a_cause_keep_cushion_shot_size_and_swept_stroke_together() -> None:
    at_ms = 30_000 * np.arange(1, 1201, dtype=np.int64)
    columns, marks = draw_signals(
        Dice(np.random.default_rng(5)), cause="steady_leak", record=200, onset=100, ramp=0, at_ms=at_ms
    )
    swept = columns["shot_size_mm"] - columns["cushion_mm"]
    before, after = np.median(swept[:300]), np.median(swept[320:])
    assert (after / before - 1.0) == pytest.approx(0.8 * marks.severity, abs=0.4 * marks.severity + 0.002)


@pytest.mark.campaign
def test_the_shipped_model_is_what_the_command_makes() -> None:
    """To 0.02: the last places hang on the order in which a machine adds."""
    made = calibrate.fit()
    assert {key: made[key] for key in ("version", "seed", "presses")} == {
        key: MODEL[key] for key in ("version", "seed", "presses")
    }
    for part in ("terms", "terms_of_two", "causes"):
        for name, weights in MODEL[part].items():
            assert made[part][name] == pytest.approx(weights, abs=0.02), name
