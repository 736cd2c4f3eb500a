"""Rows the judgement is fitted on: picked from drawn presses, with signals taken out as presses lack them."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES
from server.valve.calibration_world import Case
from server.valve.features import FACT_INDEX
from server.valve.shapes import design

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Rows kept of a press: few, since neighbouring judgements share their windows; some soon after the onset.
ROWS: Final = 12
SOON_ROWS: Final = 4
SOON: Final = 80
#: What a press counts for: causes drawn more often than plants meet them unnoticed, so that there are
#: enough to learn from. Melt that escapes outside is seen by whoever walks past; most settings changed
#: without a word come to light the same shift (common practice, no source).
SEEN_BY_EYE: Final = 0.1
SILENT_SETTING: Final = 0.5
#: Flash counts for more: it is drawn rarely, and where neither weight nor pressure at transfer is sent
#: nothing but how often plants have it tells it from a leak (common practice, no source).
OFTEN_FLASH: Final = 1.5
#: Facts of each signal that a press may lack; a copy of each row is fitted with some of them taken out.
_SIGNAL_FACTS: Final = (
    ("peak_change_pct", "peak_scatter", "swept_with_peak", "swept_with_peak_long"),
    ("transfer_change_pct", "transfer_scatter"),
    ("fill_change_pct", "fill_scatter"), ("recovery_change_pct", "recovery_scatter"),
    ("weight_change_pct", "weight_noise_pct", "weight_scatter"), ("drift_rise_mm", "drift_rise_sigma"),
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Table:
    """Rows of evidence: columns by name, leaking [n], cause [n] index, weight [n], few [n], family [n]."""

    columns: dict[str, Floats]
    leaking: Flags
    cause: NDArray[np.int64]
    weight: Floats
    few: Flags
    family: NDArray[np.int64]

    @staticmethod
    def joined(parts: Sequence["Table"]) -> "Table":
        """The rows of several tables, without their columns."""
        return Table(
            {},
            np.concatenate([part.leaking for part in parts]), np.concatenate([part.cause for part in parts]),
            np.concatenate([part.weight for part in parts]), np.concatenate([part.few for part in parts]),
            np.concatenate([part.family for part in parts]),
        )  # fmt: skip

    def where(self, keep: Flags) -> "Table":
        return Table(
            {name: column[keep] for name, column in self.columns.items()},
            self.leaking[keep], self.cause[keep], self.weight[keep], self.few[keep], self.family[keep],
        )  # fmt: skip


def _picked(case: Case, rng: np.random.Generator) -> NDArray[np.int64]:
    clear = np.flatnonzero(case.clear)
    rows = rng.choice(clear, size=min(ROWS, len(clear)), replace=False)
    soon = clear[(case.shot[clear] >= case.onset) & (case.shot[clear] < case.onset + SOON)]
    if case.onset >= 0 and len(soon):
        rows = np.concatenate([rows, rng.choice(soon, size=min(SOON_ROWS, len(soon)), replace=False)])
    return np.sort(rows)


def _counts(case: Case) -> float:
    if case.cause == "outward_leak":
        return SEEN_BY_EYE
    if case.cause == "flash":
        return OFTEN_FLASH
    return SILENT_SETTING if case.cause == "setting_change" and not case.reported else 1.0


def _thinned(facts: Floats, rng: np.random.Generator) -> Floats:
    """The rows with some signals taken out: a third of them at random, or all, as on a plain press."""
    out = facts.copy()
    drop = rng.random((len(facts), len(_SIGNAL_FACTS))) < 0.35
    for i, names in enumerate(_SIGNAL_FACTS):
        for name in names:
            out[drop[:, i], FACT_INDEX[name]] = np.nan
    return out


def _two_only(facts: Floats) -> Floats:
    out = facts.copy()
    for names in _SIGNAL_FACTS:
        for name in names:
            out[:, FACT_INDEX[name]] = np.nan
    return out


def gather(cases: Mapping[int, Sequence[Case]], *, seed: int) -> Table:
    """Some rows of each case where the truth is clear; presses count alike whatever their rows.

    cases by family number. Each row comes as it is, with some signals taken out, and with all.
    """
    rng = np.random.default_rng(seed)
    facts, leaking, cause, weight, family = [], [], [], [], []
    for number, own in cases.items():
        for case in own:
            rows = _picked(case, rng)
            began = (case.shot[rows] >= case.onset) & (case.onset >= 0)
            facts.append(case.facts[rows])
            leaking.append(case.leaking[rows])
            cause.append(np.where(began, CAUSES.index(case.cause), CAUSES.index("sealing")))
            weight.append(np.full(len(rows), _counts(case) / max(len(rows), 1)))
            family.append(np.full(len(rows), number))
    whole = np.concatenate(facts)
    shapes = design(np.concatenate([whole, _thinned(whole, rng), _two_only(whole)]))
    leaks = np.concatenate(leaking)
    weights = np.concatenate(weight)
    share = (weights * leaks).sum() / weights.sum()
    balanced = weights * np.where(leaks, 0.5 / share, 0.5 / (1.0 - share))
    return Table(
        shapes.columns, np.tile(leaks, 3), np.tile(np.concatenate(cause).astype(np.int64), 3),
        np.tile(balanced, 3), shapes.few_signals, np.tile(np.concatenate(family), 3),
    )  # fmt: skip
