"""The fit is fixed by its seed, and the model that ships holds up on presses it has not seen."""

import numpy as np
import pytest

from server.contract import CAUSES
from server.valve import calibrate
from server.valve.calibration_proof import auc, calibration_error, prove, table
from server.valve.calibration_start import FALLS, RISES
from server.valve.calibration_stories import TRAINING, UNSEEN
from server.valve.calibration_world import draw_case
from server.valve.judgement import TERMS
from server.valve.model_v1 import MODEL
from server.valve.shapes import EVIDENCE, design


def test_the_area_under_the_curve_is_the_chance_to_rank_right() -> None:
    rng = np.random.default_rng(4)
    score, leaks = rng.integers(0, 5, 60).astype(float), rng.random(60) < 0.4
    pairs = [1.0 if a > b else 0.5 if a == b else 0.0 for a in score[leaks] for b in score[~leaks]]
    assert auc(score, leaks) == pytest.approx(float(np.mean(pairs)))


def test_stated_chances_that_come_true_have_no_calibration_error() -> None:
    chance = np.repeat([0.25, 0.75], 400)
    came = np.concatenate([np.arange(400) % 4 == 0, np.arange(400) % 4 != 0])
    assert calibration_error(chance, came, weight=np.ones(800)) == pytest.approx(0.0)
    assert calibration_error(chance, ~came, weight=np.ones(800)) == pytest.approx(0.5)


def test_a_small_fit_is_the_same_again_and_keeps_its_signs() -> None:
    one = calibrate.fit(presses=60, seed=3)
    two = calibrate.fit(presses=60, seed=3)
    assert calibrate.as_module(one) == calibrate.as_module(two)
    for signs, side in ((RISES, 1.0), (FALLS, -1.0)):
        for name in signs:
            term, shape = name.split(".")
            assert side * one["terms"][term][shape] >= 0.0, name


def test_the_module_written_holds_the_model() -> None:
    scope: dict[str, object] = {}
    exec(calibrate.as_module(MODEL), scope)
    assert scope["MODEL"] == MODEL


def test_the_shipped_model_names_what_the_judgement_knows() -> None:
    case = draw_case(8, world=TRAINING)
    known = set(design(case.facts).columns)
    assert set(MODEL["terms"]) == set(EVIDENCE) == set(TERMS) - {"few_signals"}
    assert set(MODEL["causes"]) == set(CAUSES)
    for term, shapes in MODEL["terms"].items():
        assert {f"{term}.{shape}" for shape in shapes} <= known
    for weights in MODEL["causes"].values():
        assert set(weights) <= known
    assert known >= RISES | FALLS


def test_the_shipped_model_holds_up_on_presses_it_has_not_seen() -> None:
    """Bounds leave room for the chance of 250 presses: see the proof command for the figures."""
    proof = prove(MODEL, world=UNSEEN, seed=9_000_000, presses=250)
    given, minimum = proof.figures
    assert given.auc > 0.93
    assert given.auc > max(given.sigma_auc, given.ratio_auc) + 0.1
    assert given.brier[0.05] < 0.045
    assert given.calibration_error[0.2] < 0.07
    assert minimum.auc > 0.88
    for cause in ("sealing", "worn_screw", "metering", "setting_change", "position_reference"):
        assert proof.quiet.get(cause, 1.0) >= 0.95, cause
    assert "AUC" in table(proof)


@pytest.mark.campaign
def test_the_shipped_model_is_what_the_command_makes() -> None:
    assert calibrate.fit() == MODEL
