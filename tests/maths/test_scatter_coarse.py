"""Charts of scatter keep their run length on displays of any step, wherever the level lies in its cell."""

import math

import numpy as np
import pytest
from scipy.special import ndtr

from server.maths.results import Undetermined
from server.maths.scatter import scatter_ewma
from server.maths.scatter_counts import (
    CountReference,
    count_reference,
    count_run_length,
    scatter_counts,
)
from tests.maths.series import Floats, ar1

PHASES = [0.0, 0.25, 0.5]


def shown(x: Floats, *, step: float, phase: float) -> Floats:
    """Readings of a level that lies `phase` of a step off the middle of its cell."""
    return np.asarray(np.round((x + phase * step) / step) * step)


def reference(x: Floats, *, step: float, arl: float = 1000.0) -> CountReference:
    found = count_reference(x, step=step, arl=arl)
    assert isinstance(found, CountReference), found
    return found


def true_share(found: CountReference, *, phase: float, sigma: float) -> float:
    level, half = phase * found.step, found.step / 2
    return float(1 - ndtr((found.high + half - level) / sigma) + ndtr((found.low - half - level) / sigma))


def ewma_run_length(step: float, phase: float, lanes: int = 400, length: int = 3000) -> tuple[float, float]:
    """Mean run length of the log-variance chart with its standard error (total time over signals)."""
    rng = np.random.default_rng(31)
    time, ended = 0.0, 0
    for _ in range(lanes):
        x = shown(rng.standard_normal(length), step=step, phase=phase)
        signals = scatter_ewma(x, sigma=1, step=step).signals
        time += signals[0] if signals else length
        ended += bool(signals)
    return time / ended, time / ended / math.sqrt(ended)


@pytest.mark.parametrize("step", [0.5, 1.0])
@pytest.mark.parametrize("phase", PHASES)
def test_the_log_variance_chart_keeps_its_run_length_up_to_a_step_of_sigma(step: float, phase: float) -> None:
    arl, error = ewma_run_length(step, phase)
    # Stated without rounding: 1190.
    assert abs(arl - 1190) < 0.12 * 1190 + 3 * error, (arl, error)


@pytest.mark.parametrize("step", [1.01, 2.0, 4.0])
def test_a_step_above_sigma_is_refused_and_the_way_out_named(step: float) -> None:
    with pytest.raises(ValueError, match=r"step must be at most sigma = 1, got .*scatter_counts"):
        scatter_ewma([0.0, step, 0.0], sigma=1, step=step)


@pytest.mark.parametrize("step", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("n", [200, 1000])
def test_counts_keep_their_run_length_on_nine_baselines_of_ten(step: float, phase: float, n: int) -> None:
    rng = np.random.default_rng(32)
    kept, sees = 0, []
    for _ in range(120):
        found = reference(shown(rng.standard_normal(n), step=step, phase=phase), step=step)
        ask = {"rungs": found.rungs, "limit": found.limit}
        kept += count_run_length(true_share(found, phase=phase, sigma=1.0), **ask) >= 1000
        sees.append(count_run_length(true_share(found, phase=phase, sigma=2.0), **ask))
    # Exact run length at the true share; 120 baselines: three standard errors of 90 % are 8 %.
    assert kept / 120 > 0.82
    # Doubled scatter is seen in 13 to 23 readings, later where cells of four sigma hide most of it.
    assert np.median(sees) < (25 if step < 4 else 95)


def test_the_stated_run_length_is_what_a_simulation_gives() -> None:
    rng = np.random.default_rng(33)
    found = reference(shown(rng.standard_normal(400), step=2.0, phase=0.5), step=2.0, arl=60.0)
    share, runs = found.share, []
    outside = rng.random((4000, 3000)) < share
    for row in outside:
        total = 0
        for i, away in enumerate(row.tolist()):
            total = max(0, total + (found.rungs - 1 if away else -1))
            if total >= found.limit:
                runs.append(i + 1)
                break
    assert len(runs) == 4000
    assert np.mean(runs) == pytest.approx(found.arl, abs=4 * float(np.std(runs)) / math.sqrt(4000))
    assert found.arl >= 60.0
    below = count_run_length(share, rungs=found.rungs, limit=found.limit - 1)
    assert below < 60.0


def test_under_autocorrelation_the_run_length_falls_as_stated() -> None:
    step, phase, times = 2.0, 0.25, {0.0: 0, 0.5: 0}
    healthy = shown(ar1(20_000, phi=0.0, seed=34), step=step, phase=phase)
    found = reference(healthy, step=step, arl=200.0)
    for phi in times:
        chart = scatter_counts(shown(ar1(300_000, phi=phi, seed=35), step=step, phase=phase), against=found)
        # Beginnings of signals: the sum is not set back.
        times[phi] = int((np.diff(np.array(chart.signals)) > 1).sum())
    assert 1.2 < times[0.5] / times[0.0] < 4.0


def test_heavy_tails_are_counted_like_everything_else() -> None:
    rng = np.random.default_rng(36)
    kept = 0
    many = np.round(rng.standard_t(4, 400_000) / math.sqrt(2.0) / 2.0) * 2.0
    for _ in range(60):
        found = reference(rng.choice(many, 300), step=2.0)
        share = float(((many < found.low) | (many > found.high)).mean())
        kept += count_run_length(share, rungs=found.rungs, limit=found.limit) >= 1000
    assert kept / 60 > 0.8


def test_sums_are_those_of_a_loop_and_can_be_continued() -> None:
    rng = np.random.default_rng(37)
    found = reference(shown(rng.standard_normal(300), step=2.0, phase=0.0), step=2.0)
    x = shown(2.0 * rng.standard_normal(200), step=2.0, phase=0.0)
    x[50] = math.nan
    whole, total = scatter_counts(x, against=found), 0.0
    for value, ours in zip(x.tolist(), whole.sums.tolist(), strict=True):
        if value == value:
            away = value < found.low - 1.0 or value > found.high + 1.0
            total = max(0.0, total + (found.rungs - 1 if away else -1))
        assert ours == total
    rest = scatter_counts(x[80:], against=found, start=float(whole.sums[79]))
    assert rest.sums.tolist() == whole.sums[80:].tolist()
    assert 50 not in whole.signals
    assert whole.signals


@pytest.mark.parametrize("n", [0, 1, 2, 49])
def test_too_few_healthy_readings_are_said_so(n: int) -> None:
    assert count_reference([7.0] * n, step=1.0) == Undetermined(f"{n} of 50 healthy readings needed")


def test_constant_readings_have_a_home_and_a_limit() -> None:
    found = reference(np.full(200, 12.34), step=0.01)
    assert (found.low, found.high, found.outside) == (12.34, 12.34, 0)
    assert found.share == pytest.approx(1 - 0.1 ** (1 / 200))
    assert scatter_counts([12.34] * 500, against=found).signals == ()
    assert scatter_counts([12.34, 12.36, 12.31, 12.36], against=found).signals == (2, 3)
    assert scatter_counts([], against=found).sums.size == 0


@pytest.mark.parametrize("offset", [0.0, 1e6, -3e9])
def test_counts_do_not_care_about_zero(offset: float) -> None:
    x = shown(np.random.default_rng(38).standard_normal(300), step=2.0, phase=0.25)
    here, there = reference(x, step=2.0), reference(x + offset, step=2.0)
    assert (there.outside, there.limit, there.low) == (here.outside, here.limit, here.low + offset)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        ({"step": 0.0}, "step must be a number above 0"),
        ({"step": 0.3}, "step must be the display step of the readings, got 0.3"),
        ({"ratio": 1.0}, "ratio must be from 1.1 to 10, got 1.0"),
        ({"arl": 1.0}, "arl must be from 10 to 1e"),
        ({"confidence": 1.0}, "confidence must be from 0.5 to below 1"),
    ],
)
def test_bad_parameters_of_counts_are_named(ask: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        count_reference([1.0, 2.0] * 50, **{"step": 1.0, **ask})


def test_infinities_and_negative_sums_are_refused() -> None:
    found = reference(np.full(60, 1.0), step=1.0)
    with pytest.raises(ValueError, match="at index 1"):
        scatter_counts([1.0, math.inf], against=found)
    with pytest.raises(ValueError, match="start must be 0 or more, got -1"):
        scatter_counts([1.0], against=found, start=-1.0)
    with pytest.raises(ValueError, match="share must be from 0 to 1"):
        count_run_length(1.5, rungs=2, limit=3)
