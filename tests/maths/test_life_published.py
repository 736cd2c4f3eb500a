"""Survival estimates against worked examples others printed, and against another program's path to them."""

import math

import numpy as np
import pytest

from server.maths.life import LifeCurve, WeibullLife, life_curve, weibull_life

#: Months until breast retraction after radiotherapy alone, known to lie in (from, to]: D. M. Finkelstein &
#: R. A. Wolfe, Biometrics 41 (1985) 933-945 (memory). None: not seen by the last visit.
RADIOTHERAPY = [
    (45, None), (6, 10), (0, 7), (46, None), (46, None), (7, 16), (17, None), (7, 14), (37, 44), (0, 8),
    (4, 11), (15, None), (11, 15), (22, None), (46, None), (46, None), (25, 37), (46, None), (26, 40),
    (46, None), (27, 34), (36, 44), (46, None), (36, 48), (37, None), (40, None), (17, 25), (46, None),
    (11, 18), (38, None), (5, 12), (37, None), (0, 5), (18, None), (24, None), (36, None), (5, 11),
    (19, 35), (17, 25), (24, None), (32, None), (33, None), (19, 26), (37, None), (34, None), (36, None),
]  # fmt: skip
#: Turnbull's estimate from these, mass by the end of its interval: as tabulated by J. Sun, The Statistical
#: Analysis of Interval-Censored Failure Time Data (2006) (memory).
MASSES = {5: 0.0463, 7: 0.0334, 8: 0.0887, 12: 0.0708, 25: 0.0926, 34: 0.0818, 40: 0.1209}

#: Weeks in remission under 6-mercaptopurine, "+" still in remission: E. J. Freireich et al., Blood 21 (1963)
#: 699-716; the product-limit estimate as in D. R. Cox & D. Oakes (1984), both memory.
WEEKS = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
PRODUCT_LIMIT = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def bounds(lives: list[tuple[int, int | None]]) -> tuple[list[float], list[float]]:
    return [float(a) for a, _ in lives], [math.inf if b is None else float(b) for _, b in lives]


def test_the_interval_censored_curve_of_finkelstein_and_wolfe() -> None:
    curve = life_curve(*bounds(RADIOTHERAPY))
    assert isinstance(curve, LifeCurve)
    falls = dict(zip(curve.at.tolist(), -np.diff([1.0, *curve.good]), strict=True))
    for at, mass in MASSES.items():
        assert falls[at] == pytest.approx(mass, abs=6e-4), at
    # What is left, 0.4656, lies behind the 46th month.
    assert falls[48.0] + curve.beyond == pytest.approx(0.4656, abs=6e-4)
    assert sum(fall for at, fall in falls.items() if at not in MASSES and at != 48.0) < 2e-3


def test_the_remissions_of_freireich_give_the_printed_product_limit() -> None:
    at = [float(one) for one in (*WEEKS, *STILL)]
    failed = [*(float(one) for one in WEEKS), *[math.inf] * len(STILL)]
    curve = life_curve(at, failed)
    assert isinstance(curve, LifeCurve)
    assert dict(zip(curve.at.tolist(), curve.good.tolist(), strict=True)) == pytest.approx(
        PRODUCT_LIMIT, abs=6e-4
    )


@pytest.mark.parametrize("truncated", [False, True])
def test_another_programs_law_is_ours(truncated: bool) -> None:
    """lifelines maximises the same likelihood by its own way (autograd, other starts)."""
    lifelines = pytest.importorskip("lifelines", reason="no lifelines: pip install lifelines")
    lower, upper = (np.array(one) for one in bounds(RADIOTHERAPY))
    lower = np.maximum(lower, 1.0)
    entry = np.where(lower > 20.0, 5.0, 0.0) if truncated else np.zeros(lower.size)
    other = lifelines.WeibullFitter().fit_interval_censoring(lower, upper, entry=entry)
    ours = weibull_life(lower, upper, entry=entry)
    assert isinstance(ours, WeibullLife)
    assert (ours.shape, ours.scale) == pytest.approx((other.rho_, other.lambda_), rel=2e-3)
    assert ours.log_likelihood == pytest.approx(other.log_likelihood_, abs=1e-3)
