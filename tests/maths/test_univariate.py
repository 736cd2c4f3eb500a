"""Moments on series made to break them, against exact arithmetic."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest

from server.maths.autocorrelation import autocorrelation, effective_for_mean, lag_one
from server.maths.baseline import PhaseOne, phase_one
from server.maths.charts import Individuals, individuals, mean_of
from server.maths.results import Undetermined
from server.maths.rounding import rounded_sigma
from tests.maths.cases import everything, pi_digits


def exact(values: list[int]) -> tuple[float, float, float]:
    n = len(values)
    mean = Fraction(sum(values), n)
    squares = sum((v - mean) ** 2 for v in values)
    lag = sum((a - mean) * (b - mean) for a, b in itertools.pairwise(values))
    return float(mean), math.sqrt(squares / (n - 1)), float(lag / squares)


def test_digits_of_pi_against_whole_number_arithmetic() -> None:
    digits = pi_digits(5000)
    mean, sd, lag = exact([int(d) for d in digits])
    x = np.array(digits)
    assert digits[:10] == [3, 1, 4, 1, 5, 9, 2, 6, 5, 3]
    assert digits[762:768] == [9] * 6
    assert mean == 4.5358
    assert mean_of(x) == pytest.approx(mean, rel=1e-15)
    assert rounded_sigma(x, step=None) == pytest.approx(sd, rel=1e-14)
    assert lag_one(x) == pytest.approx(lag, rel=1e-12)


def test_certified_digits_of_pi_differ_in_one_digit() -> None:
    # Certified mean 4.5348, the true digits have 4.5358. All three certified figures come out when one
    # 8 between neighbours that add up to 9 is read as a 3 (41 places would do, this is the first).
    case = everything()["B-strd-PiDigits"]["expected"]
    x = np.array(pi_digits(5000))
    assert (x[17], x[18], x[19]) == (3.0, 8.0, 4.0)
    x[18] = 3.0
    assert mean_of(x) == pytest.approx(float(case["mean"]), rel=1e-13)
    assert rounded_sigma(x, step=None) == pytest.approx(float(case["sd_n-1"]), rel=1e-13)
    assert lag_one(x) == pytest.approx(float(case["lag1"]), rel=1e-12)


@pytest.mark.parametrize("offset", [0.0, 1e3, 1e6, 1e7, 1e12])
def test_a_huge_offset_costs_no_digits(offset: float) -> None:
    # The construction of the certified NumAcc series (at 1e7 it is NumAcc4, memory), with an
    # amplitude binary64 holds exactly, so that the certified 0.1 becomes an exact 0.125.
    x = np.array([offset + 1.25, *([offset + 1.125, offset + 1.375] * 500)])
    assert mean_of(x) == offset + 1.25
    assert rounded_sigma(x, step=None) == pytest.approx(0.125, rel=1e-13)
    assert lag_one(x) == pytest.approx(-0.999, rel=1e-13)
    chart = individuals(x, d2="exact")
    assert isinstance(chart, Individuals)
    assert chart.mr_bar == pytest.approx(0.249875, rel=1e-13)


def test_baseline_holds_under_an_offset() -> None:
    x = np.random.default_rng(3).normal(0, 1, 200)
    here, there = phase_one(np.round(x, 2)), phase_one(np.round(x, 2) + 1e6)
    assert isinstance(here, PhaseOne)
    assert isinstance(there, PhaseOne)
    assert there.sigma == pytest.approx(here.sigma, rel=1e-6)
    assert there.center == pytest.approx(here.center + 1e6, rel=1e-12)


def test_band_of_a_white_autocorrelation() -> None:
    # NIST/SEMATECH e-Handbook 1.3.3.1 (memory): ± 1.96/√n.
    case = everything()["F-lag1-band"]
    for n, band in zip(case["inputs"]["n"], case["expected"]["band"], strict=True):
        assert 1.959964 / math.sqrt(n) == pytest.approx(band, abs=case["tolerance"])
        series = np.random.default_rng(n).normal(size=n)
        found = autocorrelation(series)
        assert not isinstance(found, Undetermined)
        expected = band * math.sqrt(1 - found.phi**2)
        assert (found.upper - found.lower) / 2 == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
def test_phi_is_unbiased_and_its_interval_covers(phi: float) -> None:
    rng = np.random.default_rng(11)
    found = []
    for _ in range(400):
        e = rng.standard_normal(120)
        x = np.empty(120)
        x[0] = e[0]
        for i in range(1, 120):
            x[i] = phi * x[i - 1] + math.sqrt(1 - phi * phi) * e[i]
        one = autocorrelation(x)
        assert not isinstance(one, Undetermined)
        found.append(one)
    assert np.mean([f.phi for f in found]) == pytest.approx(phi, abs=0.02)
    # 400 trials: four standard errors of 95 % are 4.4 %.
    assert np.mean([f.lower <= phi <= f.upper for f in found]) > 0.9


def test_effective_sample_size_never_exceeds_the_sample() -> None:
    assert effective_for_mean(100, phi=-0.5) == 100
    assert effective_for_mean(100, phi=0.0) == 100
    assert effective_for_mean(3, phi=0.9) == 1


@pytest.mark.parametrize("phi", [0.0, 0.25, 0.5, 0.75])
def test_sigma_from_ranges_under_autocorrelation(phi: float) -> None:
    # "computed only" in the reference: E[MR̄/d2] = σ√(1-φ), for 25 to 200 values alike.
    rng = np.random.default_rng(12)
    ratios = []
    for m in (25, 100):
        e = rng.standard_normal((3000, m))
        x = np.empty_like(e)
        x[:, 0] = e[:, 0]
        for i in range(1, m):
            x[:, i] = phi * x[:, i - 1] + math.sqrt(1 - phi * phi) * e[:, i]
        sigma = [
            c.sigma
            for c in map(lambda row: individuals(row, d2="exact"), x[:400])
            if isinstance(c, Individuals)
        ]
        ratios.append((np.mean(sigma), np.std(sigma) / 20))
    for mean, error in ratios:
        assert abs(mean - math.sqrt(1 - phi)) < 4 * error
