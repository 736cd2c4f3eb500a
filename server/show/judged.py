"""A press's last judgement read back: likelihood, terms, causes and facts by name."""

import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from server.contract import CAUSES
from server.store.page_queries import Row
from server.valve.checks import Part, from_text
from server.valve.evidence import FACTS, likelihood
from server.valve.evidence_words import term_sentence
from server.valve.recalibration import KEPT_TERMS, OWN
from server.words.prior_words import prior_lines


@dataclasses.dataclass(frozen=True)
class Judgement:
    """`likelihood` None: not judged, and `status` says why. Terms and causes are by id."""

    status: str
    likelihood: float | None
    log_odds: float
    prior_log_odds: float
    prior_parts: tuple[Part, ...]
    terms: Mapping[str, float]
    causes: Mapping[str, float]
    facts: Mapping[str, float]
    missing: tuple[str, ...]
    at_ms: int | None

    @property
    def leading_cause(self) -> str | None:
        if self.likelihood is None or not self.causes:
            return None
        return max(self.causes, key=lambda cause: self.causes[cause])

    def fact(self, name: str) -> float | None:
        value = self.facts.get(name, math.nan)
        return value if math.isfinite(value) else None


def read_judgement(row: Row) -> Judgement:
    """From a press's state; a press without one is `no_baseline`."""
    status = row["leak_status"] or "no_baseline"
    log_odds = row["log_odds"]
    judged = log_odds is not None and status in ("ok", "stale")
    return Judgement(
        status=status,
        likelihood=likelihood(float(log_odds)) if judged else None,
        log_odds=float(log_odds or 0.0),
        prior_log_odds=float(row["prior_log_odds"] or 0.0),
        prior_parts=tuple(from_text(row["prior_parts"])),
        terms=_named(KEPT_TERMS, row["terms"]),
        causes=_named(CAUSES, row["causes"]),
        facts=_named(FACTS, row["facts"]),
        missing=_missing(row["missing"]),
        at_ms=row["score_ms"],
    )


def evidence_sentences(judgement: Judgement) -> list[tuple[str, str, float]]:
    """What the score rests on, the prior first, then by weight; (signal, sentence, log-odds)."""
    prior = prior_lines(judgement.prior_parts, total=judgement.prior_log_odds)
    terms = sorted(judgement.terms.items(), key=lambda item: -abs(item[1]))
    facts = {name: judgement.facts.get(name, math.nan) for name in FACTS}
    return [(signal, text, value) for signal, value, text in prior] + [
        (term, term_sentence(term, log_odds=value, facts=facts), value)
        for term, value in terms
        if not (term in ("few_signals", OWN) and value == 0)
    ]


def _named(names: tuple[str, ...], blob: bytes | None) -> dict[str, float]:
    if not blob:
        return {}
    values = np.frombuffer(blob, dtype="<f8")
    return dict(zip(names, values.tolist(), strict=False)) if len(values) == len(names) else {}


def _missing(text: str | None) -> tuple[str, ...]:
    return tuple(line for line in (text or "").splitlines() if line and line != "baseline")
