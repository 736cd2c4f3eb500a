"""How good is the score? The proof of a model as plain data: sets of presses, speed, false alarms, causes."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.features import FACT_INDEX
from server.valve.judgement import judge
from server.valve.proof_cases import Judged, draw_judged
from server.valve.proof_figures import chance_of, figures, pick, wilson
from server.valve.proof_stories import VISIBLE
from server.valve.proof_world import SENSORS, Floats

#: Version of the layout of the report.
LAYOUT: Final = 1
#: The prevalence of failing valves that speed, quiet and false alarms are told at.
USUAL: Final = 0.05
#: Hours a press runs in a week (common practice, no source).
WEEK_H: Final = 120.0
#: Losses at once, share of the swept stroke, that speed is told for.
SUDDEN: Final = (0.01, 0.02, 0.04)
#: Likelihoods at which the plant's alarm opens and closes as long as nothing else is set.
OPENS_CLOSES: Final = (0.7, 0.4)
#: Limits of what plants do by hand: sigma of the cushion, and times its scatter.
CUSHION_SIGMA: Final = 3.0
SCATTER_RATIO: Final = 2.0


@dataclasses.dataclass(frozen=True)
class Sets:
    """Presses of the proof: with the signals presses give, with all, with two, and on worn valves."""

    given: Sequence[Judged]
    every: Sequence[Judged]
    two: Sequence[Judged]
    worn: Sequence[Judged]
    sudden: Mapping[str, Mapping[float, Sequence[Judged]]]

    def named(self) -> Mapping[str, Sequence[Judged]]:
        """The three kinds by id."""
        return {"given": self.given, "every": self.every, "two": self.two}


def _drawn(first: int, count: int, **kind: Any) -> list[Judged]:
    found = (draw_judged(first + i, **kind) for i in range(count))
    return [one for one in found if one is not None]


def draw_sets(*, seed: int, presses: int) -> Sets:
    """`presses` of each kind, a third as many on worn valves, a tenth for each size of a sudden leak."""
    kinds: dict[str, dict[str, Any]] = {"given": {}, "every": {"sensors": SENSORS}, "two": {"sensors": ()}}
    first = {name: seed + 1_000_000 * i for i, name in enumerate(kinds)}
    drawn = {name: _drawn(first[name], presses, **kind) for name, kind in kinds.items()}
    sudden = {
        name: {
            loss: _drawn(
                first[name] + 400_000 + 20_000 * i, presses // 10, cause="steady_leak", sudden=loss, **kind
            )
            for i, loss in enumerate(SUDDEN)
        }
        for name, kind in kinds.items()
    }
    return Sets(
        **drawn, worn=_drawn(seed + 3_000_000, presses // 3, worn=True), sudden=sudden
    )  # fmt: skip


def told_apart(case: Judged) -> bool:
    """A setting changed without a word: shots cannot name it, so such presses are scored apart."""
    return case.cause == "setting_change" and not case.reported


def _log_odds(case: Judged, model: Mapping[str, Any], prevalence: float = USUAL) -> Floats:
    prior = float(np.log(prevalence / (1.0 - prevalence)))
    return judge(case.facts, prior_log_odds=prior, model=model).log_odds


def _set(name: str, cases: Sequence[Judged], model: Mapping[str, Any]) -> dict[str, Any]:
    """Figures of every severity, from barely visible up, and of each band apart."""
    usual = [case for case in cases if not told_apart(case)]
    rows = pick(usual, seed=7)
    inside = pick([case for case in usual if case.cause != "outward_leak"], seed=7)
    inside = inside.where(~inside.leaking | (inside.visible >= VISIBLE[1][1]))
    seen = rows.where(~rows.leaking | (rows.visible >= VISIBLE[1][1]))
    edges = [low for _, low in VISIBLE] + [np.inf]
    bands = []
    for i, (band, low) in enumerate(VISIBLE):
        part = rows.where(~rows.leaking | ((rows.visible >= low) & (rows.visible < edges[i + 1])))
        if part.leaking.any():
            bands.append(dataclasses.asdict(figures(band, part, model)))
    return {
        "id": name,
        "seen": dataclasses.asdict(figures("from barely visible up", seen, model)),
        "inside": dataclasses.asdict(figures("the same, without melt escaping outside", inside, model)),
        "all": dataclasses.asdict(figures("every severity", rows, model)),
        "bands": bands,
    }


def _quiet(cases: Sequence[Judged], model: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Of presses whose valve seals: how often judgements after the onset stay under 20 %."""
    found: dict[tuple[str, bool], list[tuple[float, bool]]] = {}
    for case in cases:
        if case.cause in LEAK_CAUSES:
            continue
        chance = chance_of(_log_odds(case, model))
        part = chance[case.begun] if case.onset >= 0 else chance
        if len(part):
            one = (float((part < 0.2).mean()), bool((part < 0.2).mean() >= 0.99))
            found.setdefault((case.cause, case.reported), []).append(one)
    rows = []
    for cause in CAUSES:
        for reported in (True, False):
            own = found.get((cause, reported))
            if own:
                share = float(np.mean([a for a, _ in own]))
                low, high = wilson(share, len(own))
                rows.append({
                    "cause": cause, "reported": reported, "presses": len(own), "under_20": share,
                    "low": low, "high": high, "always": float(np.mean([b for _, b in own])),
                })  # fmt: skip
    return rows


def _first(case: Judged, over: NDArray[np.bool_]) -> float:
    later = case.shot[over & case.begun]
    return float(later[0] - case.onset + 1) if len(later) else float("inf")


def _median(shots: Sequence[float]) -> float | None:
    """None: not within the run for half of them."""
    middle = float(np.sort(np.asarray(shots))[(len(shots) - 1) // 2])
    return middle if np.isfinite(middle) else None


#: Average losses of late rings that speed is told for, share of the swept stroke.
_SIZES: Final = ((0.0, 0.001), (0.001, 0.003), (0.003, 1.0))


def _took(
    cause: str, own: Sequence[Judged], model: Mapping[str, Any], low: float, high: float
) -> dict[str, Any]:
    scores = [_log_odds(case, model) for case in own]
    half = [_first(case, score > 0.0) for case, score in zip(own, scores, strict=True)]
    most = [_first(case, score > np.log(9.0)) for case, score in zip(own, scores, strict=True)]
    return {
        "cause": cause, "lost_from": low, "lost_to": high, "presses": len(own),
        "to_50": _median(half), "to_90": _median(most),
        "found_50": float(np.mean(np.isfinite(half))), "found_90": float(np.mean(np.isfinite(most))),
        "within_5": float(np.mean(np.asarray(most) <= 5)),
    }  # fmt: skip


def _speed(
    cases: Sequence[Judged], sudden: Mapping[float, Sequence[Judged]], model: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Shots from a sudden onset to 50 % and 90 % against what is lost, at the usual prevalence."""
    rows = [_took("steady_leak", own, model, loss, loss) for loss, own in sudden.items()]
    late = [case for case in cases if case.cause == "erratic_closing" and case.growth == "step"]
    for low, high in _SIZES:
        own = [case for case in late if low <= case.size < high]
        if own:
            rows.append(_took("erratic_closing", own, model, low, high))
    for low, high in ((0.05, 0.1), (0.1, 1.0)):
        own = [case for case in cases if case.cause == "not_closing" and low <= case.size < high]
        if own:
            rows.append(_took("not_closing", own, model, low, high))
    return rows


def _rises(value: Floats, opens: float, closes: float) -> int:
    """How often `value` passes `opens`, counted once until it is below `closes`."""
    count, up = 0, False
    for one in value[(value >= opens) | (value < closes)].tolist():
        count += one >= opens and not up
        up = one >= opens
    return count


def _false_alarms(cases: Sequence[Judged], model: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Alarms in a week of running on presses whose valve seals, of the score and of the peers."""
    inside, outside = 0, 0
    weeks, cushions, ratios = 0.0, 0, 0
    for case in cases:
        if case.cause in LEAK_CAUSES or told_apart(case) or not len(case.shot):
            continue
        rises = _rises(chance_of(_log_odds(case, model)), *OPENS_CLOSES)
        outside += rises if case.cause == "outward_leak" else 0
        inside += rises if case.cause != "outward_leak" else 0
        cushion = np.abs(np.nan_to_num(case.facts[:, FACT_INDEX["cushion_change_sigma"]]))
        cushions += _rises(cushion, CUSHION_SIGMA, 0.67 * CUSHION_SIGMA)
        ratio = np.nan_to_num(case.facts[:, FACT_INDEX["cushion_scatter"]])
        ratios += _rises(ratio, SCATTER_RATIO, 0.75 * SCATTER_RATIO)
        weeks += float(case.shot[-1]) * case.cycle_s / 3600.0 / WEEK_H
    counts = {
        "the score's alarm": inside, "the score's alarm while melt escapes outside": outside,
        "cushion beyond 3 sigma": cushions, "cushion scatter doubled": ratios,
    }  # fmt: skip
    return [{"what": what, "per_week": count / weeks, "weeks": weeks} for what, count in counts.items()]


def _confusion(cases: Sequence[Judged], model: Mapping[str, Any]) -> dict[str, Any]:
    """Share of each leading cause (column) by what was put in (row), judgements whose truth is clear."""
    names = [cause for cause in CAUSES if cause != "unexplained"]
    total = np.zeros((len(names), len(CAUSES)))
    for case in cases:
        rows = case.clear & (case.begun if case.cause != "sealing" else np.ones(len(case.clear), dtype=bool))
        if case.cause in LEAK_CAUSES:
            rows &= case.visible >= VISIBLE[1][1]
        if not rows.any():
            continue
        prior = float(np.log(USUAL / (1.0 - USUAL)))
        leading = judge(case.facts[rows], prior_log_odds=prior, model=model).causes.argmax(axis=1)
        total[names.index(case.cause)] += np.bincount(leading, minlength=len(CAUSES)) / rows.sum()
    shares = total / np.maximum(total.sum(axis=1, keepdims=True), 1e-12)
    return {"put_in": names, "named": list(CAUSES), "share": shares.round(3).tolist()}


def _worn(cases: Sequence[Judged], model: Mapping[str, Any]) -> dict[str, Any]:
    """Records taken on a leaking valve: what grows further is found; what stays as it was cannot be."""
    grown = [case for case in cases if case.cause in LEAK_CAUSES]
    same = [case for case in cases if case.cause == "sealing"]
    over = []
    for case in grown:
        rows = case.begun & case.clear & case.leaking
        if rows.any():
            over.append(float((_log_odds(case, model)[rows] > 0.0).mean()))
    unseen = [float((chance_of(_log_odds(case, model)) < 0.2).mean()) for case in same]
    return {
        "grown_presses": len(grown), "grown_over_50": float(np.mean(over)),
        "unchanged_presses": len(same), "unchanged_under_20": float(np.mean(unseen)),
        "figures": dataclasses.asdict(
            figures("further growth", pick([c for c in cases if not told_apart(c)], seed=7), model)
        ),
    }  # fmt: skip


def report(sets: Sets, model: Mapping[str, Any], *, seed: int) -> dict[str, Any]:
    """Everything, as JSON knows it."""
    named = sets.named()
    sudden = (len(own) for by_loss in sets.sudden.values() for own in by_loss.values())
    return {
        "layout": LAYOUT,
        "model_version": model["version"],
        "model_digest": model["digest"],
        "seed": seed,
        "presses": sum(map(len, named.values())) + len(sets.worn) + sum(sudden),
        "usual_prevalence": USUAL,
        "sets": [_set(name, cases, model) for name, cases in named.items()],
        "quiet": {name: _quiet(cases, model) for name, cases in named.items()},
        "speed": {name: _speed(cases, sets.sudden[name], model) for name, cases in named.items()},
        "false_alarms": {name: _false_alarms(cases, model) for name, cases in named.items()},
        "confusion": {name: _confusion(cases, model) for name, cases in named.items()},
        "worn": _worn(sets.worn, model),
    }
