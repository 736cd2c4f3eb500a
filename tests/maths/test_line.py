"""A line through readings: against certified values, and an interval that holds under correlation."""

import math

import numpy as np
import pytest

from server.errors import InvalidError
from server.maths.line import fit_line

#: NIST Statistical Reference Datasets, linear regression, "Norris" (J. Norris, NIST, calibration of ozone
#: monitors): y, x in its order. From memory; that the certified values come out to ten digits proves them.
NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6
778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6
557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1
888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""


def test_the_line_of_norris_is_the_certified_one() -> None:
    """Certified by NIST StRD: B0, B1, standard deviation of B1 and of the residuals."""
    values = [float(one) for one in NORRIS.split()]
    y, x = values[0::2], values[1::2]
    assert len(y) == 36
    line = fit_line(x, y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.slope_se == pytest.approx(0.000429796848199937, rel=1e-9)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)


def _covers(phi: float, *, n: int, rounds: int = 600) -> float:
    """Share of intervals that hold the true slope, residuals correlated by phi at lag 1."""
    chance = np.random.default_rng(21)
    hits = 0
    x = np.arange(float(n))
    for _ in range(rounds):
        noise = chance.standard_normal(n)
        for i in range(1, n):
            noise[i] = phi * noise[i - 1] + math.sqrt(1 - phi**2) * noise[i]
        low, high = fit_line(list(x), list(0.5 * x + noise)).interval
        hits += low <= 0.5 <= high
    return hits / rounds


def test_the_interval_of_independent_readings_covers_95_of_100() -> None:
    assert 0.93 <= _covers(0.0, n=40) <= 0.995


@pytest.mark.parametrize("phi", [0.4, 0.7])
def test_the_interval_still_holds_when_readings_hang_together(phi: float) -> None:
    assert _covers(phi, n=80) >= 0.90


def test_an_interval_that_ignores_correlation_would_not_hold() -> None:
    """So the correction is needed, and its test can fail."""
    chance, hits, x = np.random.default_rng(4), 0, np.arange(80.0)
    for _ in range(300):
        noise = chance.standard_normal(80)
        for i in range(1, 80):
            noise[i] = 0.7 * noise[i - 1] + math.sqrt(0.51) * noise[i]
        line = fit_line(list(x), list(noise))
        hits += abs(line.slope) <= 1.99 * line.slope_se
    assert hits / 300 < 0.75


def test_a_line_without_scatter_has_an_interval_of_no_width() -> None:
    line = fit_line([0, 1, 2, 3, 4], [5.0, 4.9, 4.8, 4.7, 4.6])
    assert line.slope == pytest.approx(-0.1)
    assert line.interval[1] - line.interval[0] < 1e-9


@pytest.mark.parametrize(
    ("x", "y", "field"),
    [
        ([0, 1], [0, 1], "x"),
        ([0, 1, 2], [0, 1], "x"),
        ([1, 1, 1], [0, 1, 2], "x"),
        ([0, 1, math.nan], [0, 1, 2], "x"),
    ],
)
def test_readings_without_a_line_are_refused(x: list[float], y: list[float], field: str) -> None:
    with pytest.raises(InvalidError) as caught:
        fit_line(x, y)
    assert caught.value.field == field
