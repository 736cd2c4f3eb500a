"""A judgement is the same in its last bit, whatever else is judged with it."""

import numpy as np
import pytest

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.features import FACT_INDEX, FACTS
from server.valve.judgement import TERMS, judge
from server.valve.model import MODEL
from server.valve.shapes import design, names

BLOCKS = 150


def facts_of_blocks() -> np.ndarray:
    rng = np.random.default_rng(20)
    facts = rng.normal(scale=2.0, size=(BLOCKS, len(FACTS)))
    facts[:, FACT_INDEX["shots_seen"]] = 100.0
    facts[rng.random(facts.shape) < 0.02] = np.nan
    return facts


@pytest.mark.parametrize("pieces", [1, 7, 64])
def test_the_sums_do_not_depend_on_how_many_blocks_are_judged_at_once(pieces: int) -> None:
    facts = facts_of_blocks()
    whole = judge(facts, prior_log_odds=-2.0, model=MODEL)
    parts = [
        judge(facts[at : at + pieces], prior_log_odds=-2.0, model=MODEL) for at in range(0, BLOCKS, pieces)
    ]
    for field in ("terms", "log_odds", "causes"):
        assert np.concatenate([getattr(one, field) for one in parts]).tobytes() == (
            getattr(whole, field).tobytes()
        )


def test_a_term_is_its_weights_times_its_shapes() -> None:
    facts = facts_of_blocks()
    shapes, judged = design(facts), judge(facts, prior_log_odds=-2.0, model=MODEL)
    usual = np.flatnonzero(shapes.enough & ~shapes.few_signals)
    assert len(usual) > 50
    for term in ("swept_level", "weight"):
        by_hand = np.zeros(BLOCKS)
        for shape, weight in MODEL["terms"][term].items():
            by_hand += weight * shapes.columns[f"{term}.{shape}"]
        np.testing.assert_allclose(judged.terms[usual, TERMS.index(term)], by_hand[usual], rtol=1e-12)


def test_another_model_is_not_weighed_with_the_last_ones_weights() -> None:
    facts = facts_of_blocks()
    none = {**MODEL, "terms": {}, "terms_of_two": {}, "causes": {}}
    judge(facts, prior_log_odds=0.0, model=MODEL)
    judged = judge(facts, prior_log_odds=0.0, model=none)
    assert not judged.log_odds.any()
    # With nothing to tell them apart the causes of a leak are as likely as one another.
    shares = judged.causes[:, [CAUSES.index(cause) for cause in LEAK_CAUSES]]
    assert np.ptp(shares, axis=1).max() < 1e-12


def test_every_shape_has_its_name() -> None:
    shapes = design(facts_of_blocks())
    assert len(names()) == len(set(names())) == len(shapes.rows)
    assert {name.split(".")[0] for name in names()} >= set(TERMS) - {"few_signals"}


def test_nothing_judged_is_an_answer() -> None:
    judged = judge(np.empty((0, len(FACTS))), prior_log_odds=-2.0, model=MODEL)
    assert judged.terms.shape == (0, len(TERMS))
    assert judged.causes.shape == (0, len(CAUSES))
