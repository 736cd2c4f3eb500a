"""The proof's own presses: they shut out the training's generators and keep the mass balance."""

import ast
from pathlib import Path

import numpy as np
import pytest

from server.contract import LEAK_CAUSES
from server.valve import proof_cases, proof_figures, proof_stories, proof_world
from server.valve.proof_cases import draw_judged
from server.valve.proof_figures import auc, figures, pick
from server.valve.proof_stories import SHARES, tell
from server.valve.proof_world import NOISES, Chance, draw_press, quiet, run_press, unit_noise

MODULES = (proof_world, proof_stories, proof_cases, proof_figures)


@pytest.mark.parametrize("module", MODULES)
def test_the_proof_shares_no_generator_with_the_fit(module: object) -> None:
    tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))  # type: ignore[attr-defined]  # a module
    imported = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert not [name for name in imported if "calibrat" in name or "press_" in name or "training" in name]


@pytest.mark.parametrize("kind", NOISES)
def test_noise_has_unit_variance(kind: str) -> None:
    x = unit_noise(np.random.default_rng(3), 200_000, kind=kind, memory=(0.5, -0.2))
    assert x.std() == pytest.approx(1.0, abs=0.15)
    assert abs(x.mean()) < 0.02


def test_a_loss_raises_the_swept_stroke_by_its_absorbed_share() -> None:
    def swept(loss: float) -> float:
        chance = Chance(11)
        press = draw_press(chance, sensors=())
        push = quiet(4000)
        push["loss"] += loss
        at = np.arange(4000, dtype=np.int64) * 30_000
        columns = run_press(press, push, at_ms=at, chance=chance).columns
        return float(np.median(columns["shot_size_mm"] - columns["cushion_mm"]))

    press = draw_press(Chance(11), sensors=())
    risen = (swept(0.02) - swept(0.0)) / press.stroke
    assert risen == pytest.approx(0.02 * press.absorbed, abs=0.002)


@pytest.mark.parametrize("cause", sorted(SHARES))
def test_only_faults_of_the_valve_lose_melt_past_it(cause: str) -> None:
    chance = Chance(5)
    press = draw_press(chance)
    story = tell(chance, press, cause=cause, n=900, record=200, onset=400, length=100)
    assert (story.loss_now[-1] > 0) == (cause in LEAK_CAUSES)
    assert not story.loss_now[:400].any()
    assert not story.push["loss"][:400].any()


def test_a_press_is_the_same_again_and_the_truth_starts_with_the_fault() -> None:
    one, two = draw_judged(77, cause="not_closing"), draw_judged(77, cause="not_closing")
    assert one is not None
    assert two is not None
    assert one.facts.tobytes() == two.facts.tobytes()
    assert not one.leaking[one.shot < one.onset].any()
    assert one.leaking[one.begun].all()


def test_a_score_without_weights_ranks_by_chance_and_is_off_by_the_prevalence() -> None:
    cases = [case for i in range(24) if (case := draw_judged(300 + i)) is not None]
    found = figures("blank", pick(cases, seed=1), proof_cases.NO_WEIGHTS)
    assert found.auc == pytest.approx(0.5)
    assert found.at[1].error == pytest.approx(0.0, abs=1e-6)
    assert found.at[1].brier == pytest.approx(0.16, abs=1e-6)


def test_the_area_under_the_curve_is_the_chance_to_rank_right() -> None:
    rng = np.random.default_rng(4)
    score, leaks = rng.integers(0, 5, 60).astype(float), rng.random(60) < 0.4
    pairs = [1.0 if a > b else 0.5 if a == b else 0.0 for a in score[leaks] for b in score[~leaks]]
    assert auc(score, leaks) == pytest.approx(float(np.mean(pairs)))
