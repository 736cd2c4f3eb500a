"""Fits the coefficients of the judgement on simulated presses, and proves them on others.

    python -m server.valve.calibrate fit > model.py && mv model.py server/valve/model_v1.py
    python -m server.valve.calibrate proof

Both are fixed by their seed. The fit is a logistic regression of "the valve leaks" on the shapes of
the evidence, drawn towards the weights of `calibration_start` (ridge) and held to the signs the trade
is sure of; causes are two softmax regressions, within the leak causes and within the others.
"""

import argparse
import dataclasses
import json
import sys
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.calibration_proof import prove, table
from server.valve.calibration_start import FALLS, RISES, START
from server.valve.calibration_stories import TRAINING, World
from server.valve.calibration_world import Case, draw_case
from server.valve.shapes import CAUSE_ONLY, EVIDENCE, design

Floats = NDArray[np.float64]

SEED: Final = 41_000
PRESSES: Final = 4_000
#: Rows kept of a press: few, since neighbouring judgements share their windows.
ROWS: Final = 12
#: Pull towards the starting weights, in rows of information.
_RIDGE: Final = 3.0
_CAUSE_RIDGE: Final = 1.5


@dataclasses.dataclass(frozen=True)
class Table:
    """Rows of evidence: columns by name, leaking bool [n], cause [n] index, weight [n], few bool [n]."""

    columns: dict[str, Floats]
    leaking: NDArray[np.bool_]
    cause: NDArray[np.int64]
    weight: Floats
    few: NDArray[np.bool_]


def gather(cases: Sequence[Case], *, seed: int) -> Table:
    """Some rows of each case where the truth is clear; a press counts as one whatever its rows."""
    rng = np.random.default_rng(seed)
    facts, leaking, cause, weight = [], [], [], []
    for case in cases:
        clear = np.flatnonzero(case.clear)
        rows = np.sort(rng.choice(clear, size=min(ROWS, len(clear)), replace=False))
        began = (case.shot[rows] >= case.onset) & (case.onset >= 0)
        facts.append(case.facts[rows])
        leaking.append(case.leaking[rows])
        cause.append(np.where(began, CAUSES.index(case.cause), CAUSES.index("sealing")))
        weight.append(np.full(len(rows), 1.0 / max(len(rows), 1)))
    shapes = design(np.concatenate(facts))
    leaks = np.concatenate(leaking)
    weights = np.concatenate(weight)
    share = (weights * leaks).sum() / weights.sum()
    balanced = weights * np.where(leaks, 0.5 / share, 0.5 / (1.0 - share))
    return Table(shapes.columns, leaks, np.concatenate(cause).astype(np.int64), balanced, shapes.few_signals)


def fit_terms(rows: Table, *, share: float) -> dict[str, dict[str, float]]:
    """Weights of the evidence at even odds of leaking; rows with few signals count shrunk by `share`."""
    names = [name for name in rows.columns if not name.startswith(CAUSE_ONLY + ".")]
    start = np.array([START["terms"].get(t, {}).get(s, 0.0) for t, s in (n.split(".") for n in names)])
    x = np.stack([rows.columns[name] for name in names], axis=1)
    x = x * np.where(rows.few, share, 1.0)[:, None]
    sign = np.where(rows.leaking, 1.0, -1.0)

    def loss(w: Floats) -> tuple[float, Floats]:
        margin = sign * (x @ w)
        miss = 1.0 / (1.0 + np.exp(np.clip(margin, -40, 40)))
        value = (rows.weight * np.logaddexp(0.0, -margin)).sum() + 0.5 * _RIDGE * ((w - start) ** 2).sum()
        return float(value), -(x.T @ (rows.weight * miss * sign)) + _RIDGE * (w - start)

    bounds = [(0.0 if n in RISES else None, 0.0 if n in FALLS else None) for n in names]
    first = np.array([np.clip(s, lo, hi) for s, (lo, hi) in zip(start, bounds, strict=True)])
    found = minimize(loss, first, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 500})
    terms: dict[str, dict[str, float]] = {term: {} for term in EVIDENCE}
    for name, weight in zip(names, found.x, strict=True):
        term, shape = name.split(".")
        terms[term][shape] = round(float(weight), 3)
    return terms


def fit_share(rows: Table, terms: Mapping[str, Mapping[str, float]]) -> float:
    """How far the score is to be shrunk where only cushion and shot size are there: least log loss."""
    total = np.zeros(len(rows.leaking))
    for term, shapes in terms.items():
        for shape, weight in shapes.items():
            total += weight * rows.columns[f"{term}.{shape}"]
    sign = np.where(rows.leaking, 1.0, -1.0)[rows.few]
    losses = {
        share: float((rows.weight[rows.few] * np.logaddexp(0.0, -sign * share * total[rows.few])).sum())
        for share in np.arange(0.4, 1.0001, 0.02).round(2).tolist()
    }
    return float(min(losses, key=lambda share: losses[share]))


def fit_causes(rows: Table, *, leaking: bool) -> dict[str, dict[str, float]]:
    """Softmax weights within the leak causes or within the others, drawn towards the start."""
    group = [c for c in CAUSES if (c in LEAK_CAUSES) == leaking and c != "unexplained"]
    names = list(rows.columns)
    start = np.array([[START["causes"].get(c, {}).get(n, 0.0) for n in names] for c in group])
    index = {CAUSES.index(c): i for i, c in enumerate(group)}
    part = np.array(
        [bool(c in index and flag == leaking) for c, flag in zip(rows.cause, rows.leaking, strict=True)]
    )
    x = np.stack([rows.columns[name][part] for name in names], axis=1)
    label = np.array([index[int(c)] for c in rows.cause[part]])
    hit = np.eye(len(group))[label]
    weight = rows.weight[part] / hit.sum(axis=0)[label] ** 0.5
    weight = weight * part.sum() / weight.sum() * 0.1

    def loss(flat: Floats) -> tuple[float, Floats]:
        w = flat.reshape(start.shape)
        score = x @ w.T
        score -= score.max(axis=1, keepdims=True)
        chance = np.exp(score)
        chance /= chance.sum(axis=1, keepdims=True)
        value = -(weight * np.log(np.maximum((chance * hit).sum(axis=1), 1e-300))).sum()
        slope = ((chance - hit) * weight[:, None]).T @ x
        away = w - start
        return float(value + 0.5 * _CAUSE_RIDGE * (away**2).sum()), (slope + _CAUSE_RIDGE * away).ravel()

    found = minimize(loss, start.ravel(), jac=True, method="L-BFGS-B", options={"maxiter": 400})
    w = found.x.reshape(start.shape)
    return {
        cause: {n: round(float(v), 2) for n, v in zip(names, w[i], strict=True) if abs(v) >= 0.1}
        for i, cause in enumerate(group)
    }


def fit(*, world: World = TRAINING, seed: int = SEED, presses: int = PRESSES) -> dict[str, Any]:
    """The model as a dict, from `presses` presses drawn from `world`."""
    cases = [draw_case(seed + 10 * i, world=world) for i in range(presses)]
    rows = gather(cases, seed=seed)
    share = 1.0
    terms: dict[str, dict[str, float]] = {}
    for _ in range(2):
        terms = fit_terms(rows, share=share)
        share = fit_share(rows, terms)
    causes = fit_causes(rows, leaking=True) | fit_causes(rows, leaking=False)
    causes["unexplained"] = dict(START["causes"]["unexplained"])
    cap = START["few_signals"]["cap_log_odds"]
    return {
        "version": "v1",
        "seed": seed,
        "presses": presses,
        "terms": terms,
        "few_signals": {"share": share, "cap_log_odds": cap},
        "causes": {cause: causes[cause] for cause in CAUSES},
    }


def _literal(name: str, value: Any, indent: int) -> str:
    """`"name": value,` wrapped to the line length, a dict of dicts one entry after the other."""
    pad = " " * indent
    if isinstance(value, dict) and any(isinstance(part, dict) for part in value.values()):
        inner = "".join(_literal(key, part, indent + 4) for key, part in value.items())
        return f'{pad}"{name}": {{\n{inner}{pad}}},\n'
    text = json.dumps(value)
    wrapped = textwrap.wrap(text, 100 - indent, break_long_words=False, break_on_hyphens=False)
    if len(wrapped) == 1 and len(wrapped[0]) + len(name) + indent < 100:
        return f'{pad}"{name}": {text},\n'
    lines = textwrap.wrap(text[1:-1], 100 - indent, break_long_words=False, break_on_hyphens=False)
    body = "\n".join(f"{pad}    {line}" for line in lines)
    return f'{pad}"{name}": {{\n{body}\n{pad}}},\n'


def as_module(model: Mapping[str, Any]) -> str:
    """The model as the text of a Python module."""
    body = "".join(_literal(name, value, 4) for name, value in model.items())
    return (
        '"""Coefficients of the judgement, fitted on simulated presses; written by a command.\n\n'
        "Made by `python -m server.valve.calibrate fit`; see there for how, and for the proof.\n"
        '"""\n\nfrom typing import Any, Final\n\n'
        f"MODEL: Final[dict[str, Any]] = {{\n{body}}}  # fmt: skip\n"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """`fit` writes the model's module to standard output, `proof` the table of figures."""
    parser = argparse.ArgumentParser(prog="python -m server.valve.calibrate", description=__doc__)
    parser.add_argument("what", choices=("fit", "proof"))
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--presses", type=int, default=None)
    given = parser.parse_args(arguments)
    if given.what == "fit":
        sys.stdout.write(as_module(fit(seed=given.seed, presses=given.presses or PRESSES)))
        return 0
    from server.valve.model_v1 import MODEL  # the file is being rewritten while fitting

    sys.stdout.write(table(prove(MODEL, seed=given.seed + 7_000_000, presses=given.presses or 1500)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
