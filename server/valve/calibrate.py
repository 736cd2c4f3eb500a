"""Fits the coefficients of the judgement on simulated presses of two families.

    python -m server.valve.calibrate fit
    python -m server.valve.calibrate choose

Fixed by the seed. The fit is a logistic regression of "the valve leaks" on the shapes of the evidence,
drawn towards the weights of `calibration_start` (ridge) and held to the signs the trade is sure of; once
for presses with any further signal, once for those that give cushion and shot size only. `choose`
shows, for each strength of that pull, what a fit on one family of presses is worth on the other; the
same comparison shrinks the weights as far as they promise too much there. Causes are two softmax
regressions, within the leak causes and within the others. `python -m server.valve.prove` proves the
result on presses of a third kind.
"""

import argparse
import hashlib
import itertools
import json
import sys
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.calibration_rows import Table, gather
from server.valve.calibration_start import FALLS, RISES, START
from server.valve.calibration_world import FAMILIES, Case, draw_case
from server.valve.shapes import CAUSE_ONLY, TWO_SIGNALS

Floats = NDArray[np.float64]

VERSION: Final = "v5"
SEED: Final = 41_000
#: Presses of each family.
PRESSES: Final = 5_000
#: Pull towards the starting weights, in rows of information; see `choose`.
RIDGE: Final = 6.0
_CAUSE_RIDGE: Final = 1.5


def _names(rows: Table, *, two: bool) -> list[str]:
    names = [name for name in rows.columns if not name.startswith(CAUSE_ONLY + ".")]
    return [name for name in names if not two or name.split(".", 1)[0] in TWO_SIGNALS]


def _start(names: Sequence[str]) -> Floats:
    split = (name.split(".", 1) for name in names)
    return np.array([START["terms"].get(term, {}).get(shape, 0.0) for term, shape in split])


def fit_weights(rows: Table, names: Sequence[str], *, ridge: float) -> Floats:
    """[names] weights at even odds of leaking."""
    start = _start(names)
    x = np.stack([rows.columns[name] for name in names], axis=1)
    sign = np.where(rows.leaking, 1.0, -1.0)

    def loss(w: Floats) -> tuple[float, Floats]:
        margin = sign * (x @ w)
        miss = 1.0 / (1.0 + np.exp(np.clip(margin, -40, 40)))
        value = (rows.weight * np.logaddexp(0.0, -margin)).sum() + 0.5 * ridge * ((w - start) ** 2).sum()
        return float(value), -(x.T @ (rows.weight * miss * sign)) + ridge * (w - start)

    bounds = [(0.0 if n in RISES else None, 0.0 if n in FALLS else None) for n in names]
    first = np.array([np.clip(s, lo, hi) for s, (lo, hi) in zip(start, bounds, strict=True)])
    found = minimize(loss, first, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 600})
    return np.asarray(found.x, dtype=np.float64)


def other_family(rows: Table, names: Sequence[str], *, ridge: float) -> tuple[Floats, Table]:
    """Scores [n] of each row by a fit on the other families, and the rows in that order."""
    scores, parts = [], []
    for number in np.unique(rows.family):
        away = rows.where(rows.family == number)
        w = fit_weights(rows.where(rows.family != number), names, ridge=ridge)
        scores.append(np.stack([away.columns[name] for name in names], axis=1) @ w)
        parts.append(away)
    return np.concatenate(scores), Table.joined(parts)


def log_loss(score: Floats, rows: Table, *, share: float = 1.0) -> float:
    """Mean of -log of the chance given to what was true, the score multiplied by `share`."""
    sign = np.where(rows.leaking, 1.0, -1.0)
    return float((rows.weight * np.logaddexp(0.0, -sign * share * score)).sum() / rows.weight.sum())


def shrink(score: Floats, rows: Table) -> float:
    """By how much scores are to be multiplied to promise on another family what they keep; at most 1."""
    shares = np.arange(0.5, 1.0001, 0.02).round(2).tolist()
    return float(min(shares, key=lambda share: log_loss(score, rows, share=share)))


def fit_terms(rows: Table, *, two: bool, ridge: float = RIDGE) -> dict[str, dict[str, float]]:
    """Weights of the evidence, shrunk as far as the other family says."""
    own = rows.where(rows.few == two)
    names = _names(rows, two=two)
    share = shrink(*other_family(own, names, ridge=ridge)) if len(np.unique(own.family)) > 1 else 1.0
    weights = share * fit_weights(own, names, ridge=ridge)
    terms: dict[str, dict[str, float]] = {}
    for name, weight in zip(names, weights, strict=True):
        term, shape = name.split(".", 1)
        terms.setdefault(term, {})[shape] = round(float(weight), 3) + 0.0
    return terms


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


def draw(*, seed: int, presses: int) -> dict[int, list[Case]]:
    """Presses of each family, by its number."""
    return {
        number: [
            case
            for i in range(presses)
            if (case := draw_case(seed + 10 * i + 10_000_000 * number, family=family)) is not None
        ]
        for number, family in enumerate(FAMILIES)
    }


def fit(*, seed: int = SEED, presses: int = PRESSES) -> dict[str, Any]:
    """The model as a dict, from `presses` presses of each family."""
    rows = gather(draw(seed=seed, presses=presses), seed=seed)
    causes = fit_causes(rows, leaking=True) | fit_causes(rows, leaking=False)
    causes["unexplained"] = dict(START["causes"]["unexplained"])
    weights = {
        "terms": fit_terms(rows, two=False),
        "terms_of_two": fit_terms(rows, two=True),
        "causes": {cause: causes[cause] for cause in CAUSES},
        "few_signals": dict(START["few_signals"]),
    }
    digest = hashlib.sha256(json.dumps(weights).encode()).hexdigest()[:16]
    return {"version": VERSION, "seed": seed, "presses": presses, "digest": digest, **weights}


def choose(*, seed: int = SEED, presses: int = 600) -> str:
    """What each pull towards the start is worth on the family not fitted on, as text."""
    rows = gather(draw(seed=seed + 5, presses=presses), seed=seed)
    lines = ["pull   log loss (share) with further signals   with cushion and shot size only"]
    for ridge in (0.3, 1.0, 3.0, 10.0, 30.0, 100.0):
        parts = []
        for two in (False, True):
            score, there = other_family(rows.where(rows.few == two), _names(rows, two=two), ridge=ridge)
            share = shrink(score, there)
            parts.append(f"{log_loss(score, there, share=share):.4f} ({share:.2f})")
        lines.append(f"{ridge:5g}  " + "   ".join(parts))
    return "\n".join(lines) + "\n"


def _literal(name: str, value: Any, indent: int) -> str:
    """`"name": value,` wrapped to the line length, a dict of dicts one entry after the other."""
    pad = " " * indent
    if isinstance(value, dict) and any(isinstance(part, dict) for part in value.values()):
        inner = "".join(_literal(key, part, indent + 4) for key, part in value.items())
        return f'{pad}"{name}": {{\n{inner}{pad}}},\n'
    text = json.dumps(value)
    if len(text) + len(name) + indent < 100:
        return f'{pad}"{name}": {text},\n'
    return f'{pad}"{name}": {{\n{_wrapped(text, indent)}\n{pad}}},\n'


def _wrapped(text: str, indent: int) -> str:
    """What stands between the braces of a dict, in lines."""
    lines = textwrap.wrap(text[1:-1], 100 - indent, break_long_words=False, break_on_hyphens=False)
    return "\n".join(f"{' ' * indent}    {line}" for line in lines)


def _by_place(weights: Mapping[str, float], places: Mapping[str, int]) -> str:
    """Weights in their order, each behind the place of its shape."""
    return _wrapped("{" + ", ".join(f"{places[name]}: {weight}" for name, weight in weights.items()) + "}", 4)


_HEAD: Final = (
    '"""{what}, fitted on simulated presses; written by a command.\n\n'
    "Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.\n"
    '"""\n\n'
)


def as_modules(model: Mapping[str, Any]) -> dict[str, str]:
    """The model as the texts of two Python modules, by the names of their files."""
    rest = {name: value for name, value in model.items() if name != "causes"}
    body = "".join(_literal(name, value, 4) for name, value in rest.items())
    places: dict[str, int] = {}
    for name in itertools.chain.from_iterable(model["causes"].values()):
        places.setdefault(name, len(places))
    shapes = _wrapped("[" + ", ".join(f'"{name}"' for name in places) + ",]", 0)
    causes = "".join(
        f'    "{cause}": {{\n{_by_place(of, places)}\n    }},\n' for cause, of in model["causes"].items()
    )
    return {
        "model.py": _HEAD.format(what="Coefficients of the judgement")
        + "from typing import Any, Final\n\nfrom server.valve.model_causes import CAUSES\n\n"
        + f'MODEL: Final[dict[str, Any]] = {{\n{body}    "causes": CAUSES,\n}}  # fmt: skip\n',
        "model_causes.py": _HEAD.format(what="What each shape of the evidence says of each cause")
        + "from typing import Final\n\n"
        + "#: Term and shape, by the place the weights below name.\n"
        + f"_SHAPES: Final = (\n{shapes}\n)  # fmt: skip\n\n"
        + f"_WEIGHTS: Final[dict[str, dict[int, float]]] = {{\n{causes}}}  # fmt: skip\n\n"
        + "#: Weights by cause and by term and shape, in the order in which they are added up.\n"
        + "CAUSES: Final[dict[str, dict[str, float]]] = {\n"
        + "    cause: {_SHAPES[at]: weight for at, weight in of.items()} for cause, of in _WEIGHTS.items()\n"
        + "}\n",
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """`fit` writes the model's modules, `choose` tells what each pull is worth."""
    parser = argparse.ArgumentParser(prog="python -m server.valve.calibrate", description=__doc__)
    parser.add_argument("what", choices=("fit", "choose"))
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--presses", type=int, default=None)
    parser.add_argument("--into", type=Path, default=Path("server/valve"), help="where fit writes")
    given = parser.parse_args(arguments)
    if given.what == "fit":
        for name, text in as_modules(fit(seed=given.seed, presses=given.presses or PRESSES)).items():
            (given.into / name).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(choose(seed=given.seed, presses=given.presses or 600))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
