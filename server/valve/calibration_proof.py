"""How good is the score? Figures on presses of a world the fit has not seen."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.calibration_stories import UNSEEN, World
from server.valve.calibration_world import AFTER, Case, draw_case
from server.valve.features import FACT_INDEX
from server.valve.judgement import judge

Floats = NDArray[np.float64]

#: Rows of a press the figures are taken over.
_ROWS: Final = 12
PREVALENCES: Final = (0.05, 0.2, 0.5)


@dataclasses.dataclass(frozen=True)
class Figures:
    """Of one set of presses. brier and calibration_error by prevalence; auc over all rows.

    sigma_auc, ratio_auc: the same rows ranked by the cushion's distance from its record alone, and
    by its scatter alone: what a plant does by hand.
    """

    name: str
    presses: int
    auc: float
    sigma_auc: float
    ratio_auc: float
    brier: Mapping[float, float]
    calibration_error: Mapping[float, float]


@dataclasses.dataclass(frozen=True)
class Proof:
    """figures: by signals given. quiet: share of judgements under 20 % by cause, healthy presses at 5 %.

    shots_to_half: median shots from a sudden onset to 50 % at a prevalence of 5 %, by cause and
    severity third (inf: not within the run); found: share that got there. alarms_per_10000: rises
    over 50 % in 10,000 shots of presses whose valve seals, by what else they have. named: share of
    rows whose leading cause is the true one.
    """

    figures: tuple[Figures, ...]
    quiet: Mapping[str, float]
    shots_to_half: Mapping[str, float]
    found: Mapping[str, float]
    alarms_per_10000: Mapping[str, float]
    named: Mapping[str, float]


def auc(score: Floats, positive: NDArray[np.bool_]) -> float:
    """Chance that a leaking row outranks a healthy one, ties half.

    >>> auc(np.array([0.1, 0.4, 0.35, 0.8]), np.array([False, False, True, True]))
    0.75
    """
    order = np.argsort(score, kind="stable")
    ranked = np.empty(len(score))
    ranked[order] = np.arange(1, len(score) + 1)
    unique, inverse, counts = np.unique(score, return_inverse=True, return_counts=True)
    sums = np.bincount(inverse, weights=ranked, minlength=len(unique))
    ranked = (sums / counts)[inverse]
    n1 = int(positive.sum())
    n0 = len(score) - n1
    return float((ranked[positive].sum() - n1 * (n1 + 1) / 2) / (n1 * n0))


def calibration_error(chance: Floats, positive: NDArray[np.bool_], *, weight: Floats) -> float:
    """Mean distance of stated chance and share that leak, over ten equal bins of the chance.

    >>> error = calibration_error(np.array([0.05, 0.95]), np.array([False, True]), weight=np.ones(2))
    >>> round(error, 6)
    0.05
    """
    bins = np.minimum((chance * 10).astype(int), 9)
    mass = np.bincount(bins, weights=weight, minlength=10)
    stated = np.bincount(bins, weights=weight * chance, minlength=10)
    true = np.bincount(bins, weights=weight * positive, minlength=10)
    return float(np.abs(stated - true).sum() / mass.sum())


def _chance(log_odds: Floats) -> Floats:
    return 1.0 / (1.0 + np.exp(-log_odds))


@dataclasses.dataclass(frozen=True)
class _Rows:
    facts: Floats
    leaking: NDArray[np.bool_]
    weight: Floats


def _rows(cases: Sequence[Case], seed: int) -> _Rows:
    rng = np.random.default_rng(seed)
    facts, leaking, weight = [], [], []
    for case in cases:
        clear = np.flatnonzero(case.clear)
        rows = np.sort(rng.choice(clear, size=min(_ROWS, len(clear)), replace=False))
        facts.append(case.facts[rows])
        leaking.append(case.leaking[rows])
        weight.append(np.full(len(rows), 1.0 / max(1, len(rows))))
    return _Rows(np.concatenate(facts), np.concatenate(leaking), np.concatenate(weight))


def _figures(name: str, cases: Sequence[Case], model: Mapping[str, Any], seed: int) -> Figures:
    rows = _rows(cases, seed)
    share = float((rows.weight * rows.leaking).sum() / rows.weight.sum())
    brier, error = {}, {}
    log_odds = np.zeros(0)
    for prevalence in PREVALENCES:
        prior = float(np.log(prevalence / (1.0 - prevalence)))
        log_odds = judge(rows.facts, prior_log_odds=prior, model=model).log_odds
        leak, other = prevalence / share, (1.0 - prevalence) / (1.0 - share)
        weight = rows.weight * np.where(rows.leaking, leak, other)
        chance = _chance(log_odds)
        brier[prevalence] = float((weight * (chance - rows.leaking) ** 2).sum() / weight.sum())
        error[prevalence] = calibration_error(chance, rows.leaking, weight=weight)
    cushion = np.abs(rows.facts[:, FACT_INDEX["cushion_change_mm"]])
    ratio = rows.facts[:, FACT_INDEX["cushion_scatter"]]
    return Figures(
        name=name,
        presses=len(cases),
        auc=auc(log_odds, rows.leaking),
        sigma_auc=auc(cushion, rows.leaking),
        ratio_auc=auc(ratio, rows.leaking),
        brier=brier,
        calibration_error=error,
    )


def _speed(cases: Sequence[Case], model: Mapping[str, Any], prior: float) -> dict[str, list[float]]:
    took: dict[str, list[float]] = {}
    for cause in LEAK_CAUSES:
        sudden = [case for case in cases if case.cause == cause and case.ramp == 0]
        own = sorted(sudden, key=lambda case: case.severity)
        for third, word in enumerate(("small", "middle", "large")):
            part = own[third * len(own) // 3 : (third + 1) * len(own) // 3]
            if not part:
                continue
            key = f"{cause} {word} ({part[0].severity:.2g} to {part[-1].severity:.2g})"
            took[key] = [_shots_to_half(case, model, prior) for case in part]
    return took


def _shots_to_half(case: Case, model: Mapping[str, Any], prior: float) -> float:
    over = judge(case.facts, prior_log_odds=prior, model=model).log_odds > 0.0
    later = case.shot[over & (case.shot >= case.onset)]
    return float(later[0] - case.onset + 1) if len(later) else float("inf")


def prove(model: Mapping[str, Any], *, world: World = UNSEEN, seed: int = 1, presses: int = 1500) -> Proof:
    """All figures of a model on presses drawn from `world`."""
    cases = [draw_case(seed + 10 * i, world=world) for i in range(presses)]
    minimum = [case for case in cases if case.minimum]
    prior = float(np.log(0.05 / 0.95))
    quiet: dict[str, list[float]] = {}
    named: dict[str, list[float]] = {}
    rises: dict[str, list[int]] = {}
    for case in cases:
        judged = judge(case.facts, prior_log_odds=prior, model=model)
        began = (case.shot >= case.onset) & (case.onset >= 0)
        if case.cause not in LEAK_CAUSES:
            key = case.cause + ("" if case.reported else " not reported")
            part = began if case.onset >= 0 else np.ones(len(began), dtype=bool)
            quiet.setdefault(key, []).append(float((_chance(judged.log_odds[part]) < 0.2).mean()))
            over = judged.log_odds > 0.0
            rises.setdefault(key, []).append(int((over[1:] & ~over[:-1]).sum()))
        leading = judged.causes[began & case.clear].argmax(axis=1)
        if len(leading):
            named.setdefault(case.cause, []).append(float((leading == CAUSES.index(case.cause)).mean()))
    took = _speed(cases, model, prior)
    return Proof(
        figures=(
            _figures("signals as presses give them", cases, model, seed),
            _figures("cushion and shot size only", minimum, model, seed),
        ),
        quiet={key: float(np.mean(values)) for key, values in sorted(quiet.items())},
        shots_to_half={key: float(np.median(shots)) for key, shots in took.items()},
        found={key: float(np.mean(np.isfinite(shots))) for key, shots in took.items()},
        alarms_per_10000={key: 1e4 * float(np.mean(n)) / AFTER for key, n in sorted(rises.items())},
        named={key: float(np.mean(values)) for key, values in sorted(named.items())},
    )


def table(proof: Proof) -> str:
    """The proof as plain text."""
    lines = []
    for one in proof.figures:
        lines.append(f"{one.name} ({one.presses} presses)")
        lines.append(
            f"  AUC {one.auc:.3f}; cushion level alone {one.sigma_auc:.3f}, scatter alone {one.ratio_auc:.3f}"
        )
        for prevalence, brier in one.brier.items():
            error = one.calibration_error[prevalence]
            lines.append(f"  prevalence {prevalence:.0%}: Brier {brier:.3f}, calibration error {error:.3f}")
    lines.append("valve seals: judgements under 20 %; rises over 50 % in 10,000 shots; prevalence 5 %")
    lines += [f"  {k}: {share:.1%}; {proof.alarms_per_10000[k]:.2f}" for k, share in proof.quiet.items()]
    lines.append("shots from onset to 50 % (median; share found within the run), prevalence 5 %")
    lines += [f"  {key}: {shots:.0f}; {proof.found[key]:.0%}" for key, shots in proof.shots_to_half.items()]
    lines.append("leading cause is the true one")
    lines += [f"  {key}: {share:.0%}" for key, share in proof.named.items()]
    return "\n".join(lines) + "\n"
