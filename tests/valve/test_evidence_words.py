"""Words for evidence and causes: every id has its own, with the numbers of its facts."""

import math

import numpy as np
import pytest

from server.contract import CAUSES
from server.valve.evidence import FACTS, TERMS
from server.valve.evidence_words import CAUSE_TEXT, TERM_TEXT, term_sentence
from server.valve.recalibration import OWN


def test_every_cause_and_term_has_its_words() -> None:
    assert set(CAUSE_TEXT) == set(CAUSES)
    assert set(TERM_TEXT) == {"prior", OWN, *TERMS}
    assert len(set(CAUSE_TEXT.values())) == len(CAUSES)


@pytest.mark.parametrize("term", TERMS)
def test_a_sentence_never_shows_what_is_not_known(term: str) -> None:
    rng = np.random.default_rng(7)
    for _ in range(300):
        facts = {name: float(rng.normal(0, 3)) for name in FACTS}
        for name in FACTS:
            if rng.random() < 0.3:
                facts[name] = math.nan
        sentence = term_sentence(term, log_odds=float(rng.normal()), facts=facts)
        assert sentence
        assert not sentence.endswith(".")
        assert "nan" not in sentence.lower()


def test_the_numbers_are_in_the_sentence() -> None:
    facts = dict.fromkeys(FACTS, math.nan)
    facts |= {"low_per_100": 7.0, "swept_scatter": 1.9, "peak_change_pct": -1.4}
    assert "One shot in 14" in term_sentence("low_tail", log_odds=1.0, facts=facts)
    assert "1.9 times" in term_sentence("swept_scatter", log_odds=1.0, facts=facts)
    assert "1.4 % lower" in term_sentence("pressure_level", log_odds=0.2, facts=facts)
