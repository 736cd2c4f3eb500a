"""Faults of the calibration grow as they are said to, in both families alike; stops and gaps are there."""

import dataclasses

import numpy as np
import pytest

from server.valve.calibration_dice import Dice
from server.valve.calibration_life import WAYS, as_kept, cold_starts, effects, grown, with_stops
from server.valve.press_model import PressModel
from server.valve.press_physics import profile
from server.valve.press_sim import shot_times, simulate
from server.valve.signals import derive


@pytest.mark.parametrize("way", sorted(set(WAYS)))
@pytest.mark.parametrize("ramp", [0, 40, 3_000])
def test_a_fault_is_whole_after_its_ramp_and_never_shrinks(way: str, ramp: int) -> None:
    marks = grown(5_000, 100, ramp=ramp, way=way)
    physical = profile(effects("flash", 100, 1.0, ramp=ramp, way=way), "flash", 5_000)
    for one in (marks, physical):
        assert not one[:100].any()
        assert one[100 + ramp + 2 :] == pytest.approx(1.0)
        assert (np.diff(one) >= -1e-12).all()
    assert marks == pytest.approx(physical, abs=0.3)


def test_stops_make_restarts_which_evaluation_leaves_out() -> None:
    dice = Dice(np.random.default_rng(4))
    usual = 30_000 * np.arange(1, 2_001, dtype=np.int64)
    stopped = with_stops(dice, usual, record=200)
    while (np.diff(stopped) < 900_000).all():
        stopped = with_stops(dice, usual, record=200)
    cold = cold_starts(dice, stopped)
    columns = {"at_ms": stopped, "counter": np.arange(2_000), "shot_size_mm": np.full(2_000, 60.0)}
    restarts = derive({**columns, "cushion_mm": np.full(2_000, 6.0)}, dose_lag=0, screw_diameter_mm=None)
    assert cold.max() > 10 * cold[~restarts.restart_transient][:-1].min()
    assert restarts.restart_transient[cold > 0.5 * cold.max()].all()


def test_a_log_loses_shots_whole_and_single_readings() -> None:
    columns = {"at_ms": np.arange(20_000), "counter": np.arange(20_000), "drift_mm": np.ones(20_000)}
    lost, missing = [], []
    for seed in range(12):
        found, kept = as_kept(Dice(np.random.default_rng(seed)), columns, often=("drift_mm",))
        assert found["counter"].tolist() == kept.tolist()
        lost.append(1.0 - len(kept) / 20_000)
        missing.append(float(np.isnan(found["drift_mm"]).mean()))
    assert 0.0 < max(lost) < 0.035
    assert min(missing) == 0.0
    assert max(missing) == pytest.approx(0.05, abs=0.01)


def test_late_rings_can_keep_company_without_being_more() -> None:
    model = PressModel()
    company = dataclasses.replace(model, valve=dataclasses.replace(model.valve, late_company=0.9))
    at_ms = shot_times(20_000, model=model, start_ms=0, seed=1)
    told = effects("late_share", 0, 0.2, ramp=0, way="line")
    alone, kept = (simulate(one, at_ms=at_ms, seed=2, story=told).truth["late"] for one in (model, company))
    assert alone.mean() == pytest.approx(0.2, abs=0.02)
    assert kept.mean() == pytest.approx(0.2, abs=0.02)
    after_late = [float(one[1:][one[:-1]].mean()) for one in (alone, kept)]
    assert after_late[0] == pytest.approx(0.2, abs=0.03)
    assert after_late[1] > 0.5
