"""The statistics without a store: `POST /api/v1/maths/…`.

Bodies are checked strictly: unknown names, text for numbers, NaN, infinities and numbers too large to
square are refused with the argument, the value and the bound.
"""

import math
from collections.abc import Callable
from typing import Annotated, Any, TypeVar

import numpy as np
from fastapi import APIRouter, Body
from pydantic import ValidationError

from server.errors import InvalidError, TooLargeError
from server.language import N_
from server.maths import charts, run_length, run_rules, smoothing
from server.maths.assessment import assess
from server.maths.capability import Capability, Index, capability
from server.maths.intervals import Interval
from server.maths.normality import Normality
from server.maths.percentiles import PercentileIndices
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.routes.maths_bodies import (
    VALUES_MAX,
    ArlAsk,
    Ask,
    CapabilityAsk,
    CusumAsk,
    EwmaAsk,
    IndividualsAsk,
    RuleAsk,
    RunRulesAsk,
    XbarAsk,
    described,
)

router = APIRouter(prefix="/api/v1/maths", tags=["maths"])

M = TypeVar("M", bound=Ask)
T = TypeVar("T")


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _read(model: type[M], body: dict[str, Any]) -> M:
    """The body as `model`, or an error naming argument, value and bound."""
    values = body.get("values")
    if isinstance(values, list) and len(values) > VALUES_MAX:
        raise TooLargeError(
            N_(
                "values: {values} given, at most {values_max} are taken",
                values=len(values),
                values_max=VALUES_MAX,
            ),
            field="values",
        )
    try:
        return model.model_validate(body)
    except ValidationError as trouble:
        first = trouble.errors(include_url=False, include_context=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "body"
        given = "" if first["type"] == "missing" else f", got {_shown(first['input'])}"
        raise InvalidError(f"{where}: {first['msg']}{given}", field=where) from None


def _asked(call: Callable[[], T]) -> T:
    """The result of a calculation, its ValueError turned into an answer for the caller."""
    try:
        # Numbers near the bounds of binary64 overflow on the way; what is not finite is answered as null.
        with np.errstate(all="ignore"):
            return call()
    except ValueError as trouble:
        field = str(trouble).split(" ", 1)[0]
        raise InvalidError(str(trouble), field=field) from None
    except (OverflowError, ZeroDivisionError):
        raise InvalidError(
            N_("values: the numbers lie too far apart to compute with"), field="values"
        ) from None


def _finite(answer: Any) -> Any:
    """The answer with what is not finite as null: JSON has no NaN and no infinity."""
    if isinstance(answer, float):
        return answer if math.isfinite(answer) else None
    if isinstance(answer, dict):
        return {key: _finite(value) for key, value in answer.items()}
    return [_finite(value) for value in answer] if isinstance(answer, list | tuple) else answer


def _rules(rules: list[str | RuleAsk]) -> list[run_rules.RunRule]:
    shown = [str(rule) for rule in rules]
    twice = next((one for one in shown if shown.count(one) > 1), None)
    if twice is not None:
        raise InvalidError(
            N_("rules: each rule may be asked for once, got {twice} twice", twice=twice), field="rules"
        )
    return [
        run_rules.run_rule(r) if isinstance(r, str) else run_rules.run_rule(r.rule, n=r.n, limit=r.limit)
        for r in rules
    ]


Content = Annotated[dict[str, Any], Body()]


@router.post("/individuals", openapi_extra=described(IndividualsAsk))
def post_individuals(body: Content) -> dict[str, Any]:
    """Individuals and moving-range chart."""
    ask = _read(IndividualsAsk, body)
    found = _asked(lambda: charts.individuals(ask.values, d2=ask.d2, rounding=ask.rounding))
    if isinstance(found, Undetermined):
        raise InvalidError(f"values: {found.reason}", field="values")
    answer: dict[str, Any] = _finite(
        {
            "n": found.n,
            "mean": found.mean,
            "mr_bar": found.mr_bar,
            "sigma": found.sigma,
            "ucl": found.ucl,
            "lcl": found.lcl,
            "mr_ucl": found.mr_ucl,
            "signals": list(found.signals),
            "mr_signals": list(found.mr_signals),
            "step": found.step,
        }
    )
    return answer


@router.post("/xbar", openapi_extra=described(XbarAsk))
def post_xbar(body: Content) -> dict[str, Any]:
    """Chart of subgroup means, ranges and standard deviations."""
    ask = _read(XbarAsk, body)
    sizes = {len(row) for row in ask.values}
    if len(sizes) != 1 or min(sizes) < 2:
        raise InvalidError(
            N_(
                "values: subgroups must have one size of at least 2, got sizes {sorted}",
                sorted=sorted(sizes)[:5],
            ),
            field="values",
        )
    if sum(map(len, ask.values)) > VALUES_MAX:
        raise TooLargeError(
            N_("values: at most {values_max} are taken", values_max=VALUES_MAX), field="values"
        )
    found = _asked(lambda: charts.subgroups(ask.values, spread=ask.spread))
    if isinstance(found, Undetermined):
        raise InvalidError(f"values: {found.reason}", field="values")
    answer: dict[str, Any] = _finite(
        {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in ((f, getattr(found, f)) for f in type(found).__dataclass_fields__)
        }
    )
    return answer


@router.post("/ewma", openapi_extra=described(EwmaAsk))
def post_ewma(body: Content) -> dict[str, Any]:
    """EWMA chart; exact limits are lists, one per value, steady ones numbers."""
    ask = _read(EwmaAsk, body)
    found = _asked(
        lambda: smoothing.ewma(
            ask.values, target=ask.target, sigma=ask.sigma, weight=ask.weight, L=ask.L, limits=ask.limits
        )
    )
    steady = ask.limits == "steady"
    answer: dict[str, Any] = _finite(
        {
            "z": found.z.tolist(),
            "ucl": float(found.ucl[0]) if steady else found.ucl.tolist(),
            "lcl": float(found.lcl[0]) if steady else found.lcl.tolist(),
            "signals": list(found.signals),
        }
    )
    return answer


@router.post("/cusum", openapi_extra=described(CusumAsk))
def post_cusum(body: Content) -> dict[str, Any]:
    """Tabular CUSUM; sums in multiples of sigma."""
    ask = _read(CusumAsk, body)
    found = _asked(
        lambda: smoothing.cusum(
            ask.values, target=ask.target, sigma=ask.sigma, k=ask.k, h=ask.h, headstart=ask.headstart
        )
    )
    answer: dict[str, Any] = _finite(
        {
            "high": found.high.tolist(),
            "low": found.low.tolist(),
            "signals": list(found.signals),
            "high_since": list(found.high_since),
            "low_since": list(found.low_since),
        }
    )
    return answer


@router.post("/run-rules", openapi_extra=described(RunRulesAsk))
def post_run_rules(body: Content) -> dict[str, Any]:
    """Findings of run rules."""
    ask = _read(RunRulesAsk, body)
    found = _asked(
        lambda: run_rules.find(
            ask.values, center=ask.center, sigma=ask.sigma, rules=_rules(ask.rules), history=ask.history
        )
    )
    return {"findings": [{"rule": f.rule, "index": f.index, "from_index": f.from_index} for f in found]}


def _index(name: str, index: Index | None) -> dict[str, Any]:
    if index is None:
        return {name: None, f"{name}_interval": None}
    return {name: index.value, f"{name}_interval": [index.interval.lower, index.interval.upper]}


def _interval_of(name: str, found: Interval | Undetermined) -> dict[str, Any]:
    if isinstance(found, Undetermined):
        return {f"{name}_interval": None, f"{name}_interval_reason": found.reason}
    return {f"{name}_interval": [found.lower, found.upper]}


def capability_answer(found: Capability) -> dict[str, Any]:
    """The wire form of a capability result."""
    answer: dict[str, Any] = {
        "n": found.n,
        "mean": found.mean,
        "sigma_within": found.sigma_within,
        "sigma_total": found.sigma_total,
    }
    for name in ("cp", "cpk", "pp", "ppk", "cpm"):
        answer |= _index(name, getattr(found, name))
    if isinstance(found.percentile, PercentileIndices):
        q = found.percentile.quantiles
        answer["percentile"] = {
            "pp": found.percentile.pp,
            "ppk": found.percentile.ppk,
            "quantiles": [q.low, q.middle, q.high],
            "distribution": q.distribution,
            **_interval_of("pp", found.percentile.pp_interval),
            **_interval_of("ppk", found.percentile.ppk_interval),
        }
    else:
        answer["percentile"] = {"pp": None, "ppk": None, "reason": found.percentile.reason}
    if isinstance(found.normality, Normality):
        answer["normality"] = {"a2": found.normality.a2, "p": found.normality.p}
    else:
        answer["normality"] = {"a2": None, "p": None, "reason": found.normality.reason}
    answer["ppm"] = found.ppm
    answer["ppm_interval"] = [found.ppm_interval.lower, found.ppm_interval.upper]
    answer["ppm_observed"] = found.ppm_observed
    return answer


@router.post("/capability", openapi_extra=described(CapabilityAsk))
def post_capability(body: Content) -> dict[str, Any]:
    """Stability first, then capability indices with intervals that know `phi`.

    Values that say nothing about capability (all alike, say) are answered with `reason` and no index.
    """
    ask = _read(CapabilityAsk, body)
    found = _asked(lambda: _capability(ask))
    finite: dict[str, Any] = _finite(found)
    return finite


def _capability(ask: CapabilityAsk) -> dict[str, Any]:
    first = assess(ask.values)
    phi = first.phi if ask.phi == "measured" else float(ask.phi)
    judged = capability(
        ask.values,
        lower=ask.lower,
        upper=ask.upper,
        target=ask.target,
        subgroup=ask.subgroup,
        confidence=ask.confidence,
        phi=phi,
        tails=ask.tails,
    )
    answer = {"stability": stability_answer(first.stability), "phi": phi}
    if isinstance(judged, Undetermined):
        return answer | nothing_said(len(ask.values), judged.reason)
    return answer | capability_answer(judged)


def stability_answer(steady: Stability | Undetermined) -> dict[str, Any]:
    """The wire form of a stability verdict; `stable` null where it cannot be said."""
    if isinstance(steady, Undetermined):
        return {"stable": None, "text": steady.reason}
    return {"stable": steady.stable, "text": steady.text}


def nothing_said(n: int, reason: str) -> dict[str, Any]:
    """The names of a capability answer with nothing in them, and why."""
    names = ("mean", "sigma_within", "sigma_total")
    answer: dict[str, Any] = {"n": n, "reason": reason} | dict.fromkeys(names)
    for name in ("cp", "cpk", "pp", "ppk", "cpm"):
        answer |= _index(name, None)
    answer["percentile"] = {"pp": None, "ppk": None, "reason": reason}
    answer["normality"] = {"a2": None, "p": None, "reason": reason}
    return answer | dict.fromkeys(("ppm", "ppm_interval", "ppm_observed"))


def _arl(ask: ArlAsk) -> run_length.RunLength | Undetermined:
    if not ask.two_sided and ask.chart in ("shewhart", "individuals_mr"):
        raise ValueError(f"two_sided must be true for {ask.chart}, got False")
    if ask.chart == "shewhart":
        return run_length.of_rules(_rules(ask.rules), shift=ask.shift, phi=ask.phi)
    if ask.chart == "ewma":
        return run_length.of_ewma(
            weight=ask.weight,
            L=ask.L,
            limits=ask.limits,
            two_sided=ask.two_sided,
            shift=ask.shift,
            phi=ask.phi,
        )
    if ask.chart == "cusum":
        return run_length.of_cusum(
            k=ask.k,
            h=ask.h,
            headstart=ask.headstart,
            two_sided=ask.two_sided,
            shift=ask.shift,
            phi=ask.phi,
        )
    # Not named: the textbook range limit D4·d2; null: no range chart.
    named = "mr_limit" in ask.model_fields_set
    return run_length.of_individuals(
        x_limit=ask.x_limit,
        mr_limit=ask.mr_limit if named else run_length.MR_LIMIT,
        shift=ask.shift,
        phi=ask.phi,
    )


@router.post("/arl", openapi_extra=described(ArlAsk))
def post_arl(body: Content) -> dict[str, Any]:
    """Average run length of a chart."""
    ask = _read(ArlAsk, body)
    found = _asked(lambda: _arl(ask))
    if isinstance(found, Undetermined):
        return {"arl": None, "method": "undetermined", "reason": found.reason}
    answer: dict[str, Any] = {"arl": found.arl, "method": found.method}
    if found.standard_error is not None:
        answer["standard_error"] = found.standard_error
    return answer
