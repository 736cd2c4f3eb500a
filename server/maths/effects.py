"""Effect sizes of a comparison, kept honest for few values and for many questions at once."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import gammaln, ndtri, stdtr, stdtrit

from server.maths.comparison import MeanComparison


@dataclass(frozen=True)
class Effect:
    """A difference of means in standard deviations, with its interval."""

    g: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Summary:
    """What is left of a stretch when its values are gone: mean and sigma in the unit of the signal.

    n_mean: independent values that give the mean as sure; n_scatter: the same for sigma.
    """

    mean: float
    sigma: float
    n_mean: float
    n_scatter: float


@dataclass(frozen=True)
class RatioOfSigmas:
    """Second sigma over the first, with its interval."""

    ratio: float
    lower: float
    upper: float
    p: float


def small_sample_factor(freedom: float) -> float:
    """What a difference over an estimated sigma is too large by: Γ(m/2) / (√(m/2) Γ((m - 1)/2)).

    Parameters
    ----------
    freedom : float
        Degrees of freedom of sigma, above 1.

    Notes
    -----
    Hedges, Journal of Educational Statistics 6 (1981) 107-128, the factor c(m), exact (memory). At m = 2
    it is 1/√π.

    Examples
    --------
    >>> round(small_sample_factor(2.0), 4), round(small_sample_factor(10.0), 4)
    (0.5642, 0.9227)
    """
    if not (math.isfinite(freedom) and freedom > 1.0):
        raise ValueError(f"freedom must be above 1, got {freedom!r}")
    return math.exp(float(gammaln(freedom / 2.0)) - float(gammaln((freedom - 1.0) / 2.0))) / math.sqrt(
        freedom / 2.0
    )


def hedges_g(found: MeanComparison) -> Effect:
    """The effect of a comparison of means, corrected for what few values make too large.

    Parameters
    ----------
    found : MeanComparison
        Of `compare_means`: difference over the root of the mean variance, so that both periods count alike.

    Notes
    -----
    g = c(m) d, m the degrees of freedom of the comparison (Welch's, effective sample sizes, 2 at least); the
    interval is that of d times the same factor. With unequal variances d is in units of the root of their
    mean (Cohen 1988, section 2.3, memory).

    Examples
    --------
    >>> from server.maths.comparison import compare_means
    >>> round(hedges_g(compare_means([1.0, 2.0, 3.0, 4.0], second=[3.0, 4.0, 5.0, 6.0])).g, 3)
    1.346
    """
    factor = small_sample_factor(max(found.freedom, 2.0))
    return Effect(found.effect * factor, found.effect_lower * factor, found.effect_upper * factor)


def compare_summaries(
    first: Summary, *, second: Summary, confidence: float = 0.95
) -> tuple[MeanComparison, RatioOfSigmas]:
    """Means and sigmas of two periods whose values are not there any more.

    Parameters
    ----------
    first, second : Summary
        In one unit; sigmas above 0, effective sizes of 2 and more.
    confidence : float
        Two-sided, 0.5 to below 1.

    Notes
    -----
    Means as in `comparison.compare_means`. The log of the ratio of sigmas has the variance
    Σ 1/(2(n - 1)) for normal values (delta method of var s² = 2σ⁴/(n - 1)); heavy tails make the interval
    too narrow, which only the values themselves could show.

    Examples
    --------
    >>> one = Summary(mean=10.0, sigma=1.0, n_mean=100.0, n_scatter=100.0)
    >>> means, sigmas = compare_summaries(one, second=Summary(10.5, 2.0, 100.0, 100.0))
    >>> means.difference, round(means.freedom, 1), sigmas.ratio
    (0.5, 145.6, 2.0)
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    if min(first.sigma, second.sigma) <= 0.0:
        raise ValueError(f"sigmas must be above 0, got {first.sigma!r} and {second.sigma!r}")
    na, nb = max(2.0, first.n_mean), max(2.0, second.n_mean)
    va, vb = first.sigma**2, second.sigma**2
    error = va / na + vb / nb
    freedom = error**2 / ((va / na) ** 2 / (na - 1.0) + (vb / nb) ** 2 / (nb - 1.0))
    difference = second.mean - first.mean
    t = difference / math.sqrt(error)
    half = float(stdtrit(freedom, 0.5 + confidence / 2.0)) * math.sqrt(error)
    z = float(ndtri(0.5 + confidence / 2.0))
    effect = difference / math.sqrt(0.5 * (va + vb))
    reach = z * math.sqrt(1.0 / na + 1.0 / nb + effect**2 / (2.0 * (na + nb)))
    means = MeanComparison(
        difference=difference,
        lower=difference - half,
        upper=difference + half,
        t=t,
        freedom=freedom,
        p=2.0 * float(stdtr(freedom, -abs(t))),
        effect=effect,
        effect_lower=effect - reach,
        effect_upper=effect + reach,
        n_effective=(na, nb),
    )
    ratio = second.sigma / first.sigma
    spread = math.sqrt(sum(0.5 / max(1.0, one.n_scatter - 1.0) for one in (first, second)))
    p = 2.0 * float(stdtr(math.inf, -abs(math.log(ratio)) / spread))
    return means, RatioOfSigmas(ratio, ratio * math.exp(-z * spread), ratio * math.exp(z * spread), p)


def holm(chances: Sequence[float]) -> list[float]:
    """p-values of several questions asked at once, so that one true "nothing" in twenty is called at most.

    Parameters
    ----------
    chances : sequence of float
        Each 0 to 1, in any order; the answers stand in the same order.

    Notes
    -----
    Holm, Scandinavian Journal of Statistics 6 (1979) 65-70: the i-th smallest of m times (m - i + 1), never
    falling, 1 at most. Whatever the dependence between the questions.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(chances)), key=lambda i: chances[i])
    adjusted, least = [0.0] * len(chances), 0.0
    for place, i in enumerate(order):
        least = max(least, min(1.0, chances[i] * (len(chances) - place)))
        adjusted[i] = least
    return adjusted
