"""Lives of parts: a published example, other ways to the same numbers, coverage, real records."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from server.maths.life import LifeCurve, Remaining, WeibullLife, life_curve, remaining, weibull_life
from server.maths.results import Undetermined

#: Lives of 23 deep-groove ball bearings, millions of turns: J. Lieblein & M. Zelen, J. Res. Natl. Bur.
#: Stand. 57 (1956) 273-316; estimates 2.10 and 81.9 in J. F. Lawless (1982). Both from memory.
BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64,
    68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip


def law(lower: object, upper: object, **more: object) -> WeibullLife:
    found = weibull_life(lower, upper, **more)  # type: ignore[arg-type]  # arrays and lists alike
    assert isinstance(found, WeibullLife)
    return found


def test_the_bearings_of_lieblein_and_zelen() -> None:
    found = law(BEARINGS, BEARINGS)
    assert found.shape == pytest.approx(2.10, abs=0.005)
    assert found.scale == pytest.approx(81.9, abs=0.05)
    assert found.median == pytest.approx(found.scale * math.log(2) ** (1 / found.shape))


def test_interval_and_right_censored_lives_agree_with_another_maximiser() -> None:
    """scipy.stats.weibull_min.fit over CensoredData takes another path to the same likelihood."""
    lower, upper = [4.0, 6, 7, 9, 10, 10, 3], [6.0, 7, 9, 12, np.inf, np.inf, 5]
    between = [[4, 6], [6, 7], [7, 9], [9, 12], [3, 5]]
    data: stats.CensoredData = stats.CensoredData(interval=between, right=[10, 10])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    found = law(lower, upper)
    assert (found.shape, found.scale) == pytest.approx((shape, scale), rel=1e-3)


def test_the_interval_of_the_shape_ends_where_its_profile_says() -> None:
    """The likelihood of the shape with the best scale beside it, another way to the same ends."""
    found, x = law(BEARINGS, BEARINGS), np.array(BEARINGS)

    def fall(shape: float) -> float:
        scale = float(np.mean(x**shape)) ** (1.0 / shape)
        likelihood = stats.weibull_min.logpdf(x, shape, scale=scale).sum()
        return float(likelihood) - found.log_likelihood + 0.5 * float(stats.chi2.ppf(0.95, 1))

    ends = optimize.brentq(fall, 0.5, found.shape), optimize.brentq(fall, found.shape, 6.0)
    assert found.shape_interval == pytest.approx(ends, rel=5e-4)


def fleet(seed: int, *, shape: float, scale: float, valves: int = 60) -> tuple[np.ndarray, ...]:
    """Valves looked at every so often, some old already when the record began, some taken out early."""
    rng = np.random.default_rng(seed)
    life = scale * rng.weibull(shape, 4 * valves)
    entry = np.where(rng.random(life.size) < 0.4, rng.uniform(0, 1.2 * scale, life.size), 0.0)
    watched = np.flatnonzero(life > entry)[:valves]
    life, entry = life[watched], entry[watched]
    gap = rng.uniform(0.1, 0.3, life.size) * scale
    lower = entry + np.floor((life - entry) / gap) * gap
    upper = lower + gap
    end = entry + rng.uniform(0.2, 2.0, life.size) * scale
    still = upper > end
    lower = np.where(still, np.maximum(entry, np.minimum(lower, end)), lower)
    return lower, np.where(still, np.inf, upper), entry


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    held = {"shape": 0, "scale": 0, "median": 0}
    biased = 0
    for seed in range(40):
        lower, upper, entry = fleet(seed, shape=2.2, scale=800_000.0)
        found = law(lower, upper, entry=entry)
        held["shape"] += found.shape_interval[0] <= 2.2 <= found.shape_interval[1]
        held["scale"] += found.scale_interval[0] <= 800_000 <= found.scale_interval[1]
        truth = 800_000 * math.log(2) ** (1 / 2.2)
        held["median"] += found.median_interval[0] <= truth <= found.median_interval[1]
        # Taking old valves for new ones makes lives look longer and more alike.
        biased += law(lower, upper).median > found.median
    # 95 % of 40; below 33 has a chance of 1 in 1000 (binomial).
    assert min(held.values()) >= 33, held
    assert biased > 35


def test_what_is_left_to_an_old_valve_holds_too() -> None:
    held = 0
    for seed in range(24):
        lower, upper, entry = fleet(seed, shape=2.2, scale=8.0)
        found = remaining(law(lower, upper, entry=entry), age=6.0)
        truth = 8.0 * ((6.0 / 8.0) ** 2.2 + math.log(2)) ** (1 / 2.2) - 6.0
        held += found.middle_interval[0] <= truth <= found.middle_interval[1]
        assert found.early_interval[0] <= found.early <= found.early_interval[1]
    assert held >= 19  # 95 % of 24, 1 in 1000


def test_the_curve_without_a_law_is_the_product_limit_where_moments_are_known() -> None:
    rng = np.random.default_rng(5)
    life, end = rng.weibull(1.5, 40), rng.uniform(0.2, 2, 40)
    known = life <= end
    at = np.where(known, life, end)
    found = life_curve(at, np.where(known, at, np.inf))
    assert isinstance(found, LifeCurve)
    other = stats.ecdf(stats.CensoredData.right_censored(at, ~known)).sf
    assert found.good == pytest.approx(other.evaluate(found.at), abs=1e-6)


def test_the_curve_knows_who_was_watched_when_young() -> None:
    """Left-truncated product limit: risk sets of those under watch (derived by hand)."""
    found = life_curve([2.0, 3.0, 5.0, 6.0], [2.0, 3.0, 5.0, np.inf], entry=[0.0, 0.0, 2.5, 2.5])
    assert isinstance(found, LifeCurve)
    # At 2: two under watch, one fails. At 3: three, one fails. At 5: two, one fails.
    assert found.good == pytest.approx([1 / 2, 1 / 3, 1 / 6], abs=1e-6)


def test_law_and_curve_agree_on_a_fleet_that_follows_the_law() -> None:
    lower, upper, entry = fleet(1, shape=2.2, scale=8.0, valves=300)
    found, curve = law(lower, upper, entry=entry), life_curve(lower, upper, entry=entry)
    assert isinstance(curve, LifeCurve)
    middle = (curve.good > 0.15) & (curve.good < 0.9)
    smooth = np.exp(-((curve.at[middle] / found.scale) ** found.shape))
    assert np.abs(smooth - curve.good[middle]).max() < 0.12


@given(st.floats(0.1, 1e6))
@settings(max_examples=15, deadline=None)
def test_the_unit_of_life_does_not_matter(unit: float) -> None:
    lower, upper = np.array([4.0, 6, 7, 9, 10, 10]), np.array([6.0, 7, 9, 12, np.inf, np.inf])
    one, other = law(lower, upper), law(lower * unit, upper * unit)
    assert other.shape == pytest.approx(one.shape, rel=1e-4)
    assert other.scale == pytest.approx(one.scale * unit, rel=1e-4)
    early = remaining(one, age=5.0).early * unit
    assert remaining(other, age=5 * unit).early == pytest.approx(early, rel=1e-3)


def test_the_older_the_less_is_left_when_parts_wear() -> None:
    found = law(BEARINGS, BEARINGS)
    left = [remaining(found, age=age) for age in (0.0, 40.0, 80.0, 160.0)]
    assert all(isinstance(one, Remaining) for one in left)
    assert all(a.middle > b.middle and a.early > b.early for a, b in itertools.pairwise(left))


def test_too_little_is_an_answer() -> None:
    few = weibull_life([1.0, 2.0, 3.0], [2.0, 3.0, np.inf])
    assert isinstance(few, Undetermined)
    assert few.reason == "2 of 3 failures needed for a law of life"
    same = weibull_life([5.0] * 4, [5.0] * 4)
    assert isinstance(same, Undetermined)
    assert isinstance(life_curve([], []), Undetermined)
    assert isinstance(life_curve([3.0], [np.inf]), Undetermined)


@pytest.mark.parametrize(
    ("lower", "upper", "entry", "named"),
    [
        ([1.0], [2.0, 3.0], None, "upper must have 1"),
        ([-1.0], [2.0], None, "lower must be finite"),
        ([math.nan], [2.0], None, "lower must be finite"),
        ([3.0], [2.0], None, "upper must be above 0"),
        ([0.0], [0.0], None, "upper must be above 0"),
        ([1.0], [2.0], [1.5], "entry must not be above lower"),
        ([1.0], [math.nan], None, "upper"),
    ],
)
def test_nonsense_is_named(
    lower: list[float], upper: list[float], entry: list[float] | None, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        weibull_life(lower, upper, entry=entry)
    with pytest.raises(ValueError, match="confidence"):
        weibull_life([1.0], [2.0], confidence=1.0)
    with pytest.raises(ValueError, match="age"):
        remaining(law(BEARINGS, BEARINGS), age=-1.0)
