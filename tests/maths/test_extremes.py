"""Every function of one series on what breaks formulas: nothing, few, constant, huge, tiny, infinite."""

import dataclasses
import math
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

import numpy as np
import pytest

from server.maths.assessment import assess
from server.maths.autocorrelation import autocorrelation
from server.maths.baseline import phase_one
from server.maths.capability import capability
from server.maths.charts import individuals
from server.maths.comparison import compare_means, compare_scatter
from server.maths.drift import change_point, theil_sen
from server.maths.normality import anderson_darling
from server.maths.onset import ramp_start
from server.maths.percentiles import box_cox, fitted_quantiles, percentile_indices
from server.maths.results import Undetermined
from server.maths.scatter import scatter_ewma
from server.maths.scatter_counts import count_reference
from server.maths.smoothing import cusum, ewma
from server.maths.stability import stability

Found = TypeVar("Found")
NOISE = np.random.default_rng(61).normal(0.0, 1.0, 60)
SERIES: dict[str, Any] = {
    "none": [],
    "one": [1.0],
    "two": [1.0, 2.0],
    "constant": [3.0] * 60,
    "no number": [math.nan] * 60,
    "gaps": [1.0, math.nan, 2.0, 4.0] * 15,
    "far off zero": 1e15 + NOISE,
    "huge": 1e100 * NOISE,
    "tiny": 1e-200 * NOISE,
    "two values": [0.0, 1.0] * 30,
    "one that differs": [0.0] * 59 + [1.0],
    "smallest": [5e-324] * 30 + [0.0] * 30,
}
CALLS: dict[str, Callable[[Any], Any]] = {
    "capability": lambda x: capability(x, lower=-1, upper=2),
    "assess": lambda x: assess(x, lower=-1, upper=2),
    "individuals": individuals,
    "individuals, rounding": lambda x: individuals(x, rounding=True),
    "stability": stability,
    "normality": anderson_darling,
    "autocorrelation": autocorrelation,
    "trend": theil_sen,
    "change": change_point,
    "ramp": ramp_start,
    "means": lambda x: compare_means(x, second=x),
    "scatter": lambda x: compare_scatter([x, x]),
    "percentiles": lambda x: percentile_indices(x, lower=-1, upper=2),
    "fit": fitted_quantiles,
    "power": box_cox,
    "ewma": lambda x: ewma(x, target=0, sigma=1),
    "cusum": lambda x: cusum(x, target=0),
    "scatter chart": lambda x: scatter_ewma(x, sigma=1),
    "scatter chart, rounded": lambda x: scatter_ewma(x, sigma=1, step=0.5),
}
#: These list what is not finite as missing, by their notes.
LISTS = {"stability": "listed as missing"}


def not_finite(found: Any, where: str = "") -> Iterator[str]:
    if isinstance(found, float) and not math.isfinite(found):
        yield where
    elif isinstance(found, np.ndarray):
        yield from ([where] if np.isinf(found).any() else [])
    elif dataclasses.is_dataclass(found):
        for field in dataclasses.fields(found):
            yield from not_finite(getattr(found, field.name), f"{where}.{field.name}")
    elif isinstance(found, list | tuple):
        for one in found:
            yield from not_finite(one, where)


@pytest.mark.parametrize("call", list(CALLS))
@pytest.mark.parametrize("name", list(SERIES))
def test_every_answer_is_finite_or_a_reason(call: str, name: str) -> None:
    assert list(not_finite(CALLS[call](SERIES[name]))) == []


@pytest.mark.parametrize("call", sorted(set(CALLS) - set(LISTS)))
def test_an_infinity_is_refused_with_its_place(call: str) -> None:
    x = [*NOISE.tolist(), -math.inf, 1.0]
    with pytest.raises(ValueError, match="values must be finite, got -inf at index 60"):
        CALLS[call](x)


def test_an_infinite_time_is_refused_with_its_place() -> None:
    with pytest.raises(ValueError, match="at must be finite, got inf at index 1"):
        theil_sen([1.0] * 10, at=[0.0, math.inf, *range(2, 10)])


def said(found: Found | Undetermined) -> Found:
    """What can be said; here it always can."""
    assert not isinstance(found, Undetermined), found.reason
    return found


def test_a_baseline_lists_infinities_as_missing() -> None:
    found = said(phase_one([*NOISE.tolist(), math.inf]))
    assert [(e.index, e.reason) for e in found.exclusions] == [(60, "missing")]


@pytest.mark.parametrize("scale", [1e-200, 1e-3, 1e90])
def test_comparison_and_change_scale_with_the_unit(scale: float) -> None:
    x, y = NOISE[:30], NOISE[30:] * 1.7 + 1.0
    here, there = said(compare_means(x, second=y)), said(compare_means(x * scale, second=y * scale))
    assert there.lower == pytest.approx(here.lower * scale, rel=1e-9)
    assert there.p == pytest.approx(here.p, rel=1e-9)
    ratios, scaled = said(compare_scatter([x, y])), said(compare_scatter([x * scale, y * scale]))
    assert scaled.ratio_upper == pytest.approx(ratios.ratio_upper, rel=1e-9)
    assert scaled.sigmas[1] == pytest.approx(ratios.sigmas[1] * scale, rel=1e-9)
    moved = np.concatenate([x, y + 2.0])
    step, far = said(change_point(moved)), said(change_point(moved * scale))
    assert far.index == step.index
    assert far.sigma == pytest.approx(step.sigma * scale, rel=1e-9)


def test_home_cells_hold_at_a_huge_offset() -> None:
    x = 1e9 + np.round(NOISE)
    far, near = said(count_reference(x, step=1.0)), said(count_reference(x - 1e9, step=1.0))
    assert far.outside == near.outside
