"""The simulated press: mass balance, what each effect moves, determinism, speed."""

import dataclasses
import time
from collections.abc import Sequence

import numpy as np
import pytest

from server.contract import SHOT_NUMBERS
from server.errors import InvalidError
from server.valve.balance import power_law_flow
from server.valve.press_model import EFFECTS, Effect, Machine, Noise, PressModel, Process, Valve
from server.valve.press_physics import flow
from server.valve.press_sim import Simulated, as_logged, shot_times, simulate
from server.valve.signals import detect_dose_lag

CALM = PressModel(noise=Noise(day_night_c=0.0, wander_pct=0.0))


def run(n: int = 4000, *, model: PressModel = CALM, story: Sequence[Effect] = (), seed: int = 5) -> Simulated:
    return simulate(model, at_ms=shot_times(n, model=model, start_ms=0, seed=seed), seed=seed, story=story)


def moved(name: str, story: Sequence[Effect], *, model: PressModel = CALM) -> float:
    """How far the mean of the second half lies above that of the first."""
    columns = run(story=story, model=model).columns
    values = columns["shot_size_mm"] - columns["cushion_mm"] if name == "swept_mm" else columns[name]
    return float(values[2000:].mean() - values[:2000].mean())


def test_the_array_flow_is_the_flow_of_the_balance() -> None:
    for gap in (0.03, 0.1):
        q = power_law_flow(
            gap, screw_diameter_mm=40, land_mm=25, pressure_mpa=40, consistency_pa_sn=5000, index=0.4
        )
        assert flow(PressModel(), np.array([gap]), 400.0, 1.0)[0] == pytest.approx(q)


def test_volumes_of_a_shot_balance() -> None:
    shots = run(story=[Effect("gap_growth", 2000, 1.2)])
    process, valve = CALM.process, CALM.valve
    area = np.pi / 4000 * CALM.machine.screw_diameter_mm**2
    elastic = process.elastic_per_mpa * 0.1 * process.hold_bar * process.part_volume_cm3
    left = (
        process.part_volume_cm3
        + elastic
        + valve.ring_travel_mm * valve.dragged_share * area
        + process.hold_absorption * shots.truth["leak_cm3"][2000:].mean()
    )
    assert area * shots.truth["swept_mm"][2000:].mean() == pytest.approx(left, rel=1e-3)


@pytest.mark.parametrize(
    ("effect", "size", "signal", "sign"),
    [
        ("gap_growth", 1.0, "swept_mm", 1),
        ("gap_growth", 1.0, "drift_mm", 1),
        ("late_share", 0.2, "swept_mm", 1),
        ("unshut", 0.3, "cushion_mm", -1),
        ("unshut", 0.3, "peak_pressure_bar", -1),
        ("screw_wear", 0.1, "recovery_time_s", 1),
        ("viscosity", -0.1, "peak_pressure_bar", -1),
        ("viscosity", -0.1, "part_weight_g", 1),
        ("viscosity", -0.1, "swept_mm", 1),
        ("hold_bar", 100.0, "swept_mm", 1),
        ("speed", 0.2, "fill_time_s", -1),
        ("top_up_mm", 1.0, "cushion_mm", 1),
        ("reference_mm", 0.5, "cushion_mm", 1),
        ("reference_mm", 0.5, "shot_size_mm", 1),
        ("flash", 0.02, "part_weight_g", 1),
        ("flash", 0.02, "swept_mm", 1),
        ("blocked", 0.25, "swept_mm", -1),
        ("blocked", 0.25, "peak_pressure_bar", 1),
        ("outward", 0.02, "swept_mm", 1),
    ],
)
def test_each_effect_moves_what_it_should(effect: str, size: float, signal: str, sign: int) -> None:
    usual = abs(moved(signal, []))
    assert sign * moved(signal, [Effect(effect, 2000, size)]) > 3 * usual + 1e-3


@pytest.mark.parametrize("effect", ["top_up_mm", "reference_mm"])
def test_swept_stroke_does_not_see_where_the_shot_size_stands(effect: str) -> None:
    assert abs(moved("swept_mm", [Effect(effect, 2000, 1.0)])) < 0.01


def test_a_leak_of_two_percent_hardly_moves_pressure() -> None:
    leak = [Effect("gap_growth", 2000, 1.2)]
    assert moved("swept_mm", leak) / 59.5 > 0.01
    assert abs(moved("peak_pressure_bar", leak)) / 820 < 0.02


def test_an_open_valve_can_take_the_pressure_and_steady_recovery_with_it() -> None:
    open_valve = Valve(unshut_relief=2.0, unshut_recovery=0.5)
    model = dataclasses.replace(CALM, valve=open_valve)
    story = [Effect("unshut", 2000, 0.2)]
    assert moved("peak_pressure_bar", story, model=model) < 2.0 * moved("peak_pressure_bar", story) < 0.0
    recovery = run(model=model, story=story).columns["recovery_time_s"]
    assert recovery[2000:].std() > 3.0 * recovery[:2000].std()


def test_melt_that_escapes_outside_can_let_the_screw_creep() -> None:
    leaky = dataclasses.replace(CALM, process=dataclasses.replace(CALM.process, outward_creep=0.2))
    story = [Effect("outward", 2000, 0.02)]
    assert moved("drift_mm", story) == pytest.approx(0.0, abs=0.005)
    assert moved("drift_mm", story, model=leaky) > 0.1


def test_without_hold_absorption_the_part_gets_lighter_instead() -> None:
    soft = dataclasses.replace(CALM, process=Process(hold_absorption=0.0))
    late = [Effect("late_share", 2000, 0.5)]
    assert abs(moved("swept_mm", late, model=soft)) < 0.02
    assert moved("part_weight_g", late, model=soft) < -0.3


@pytest.mark.parametrize("lag", [0, 1])
def test_the_dose_lag_is_found_again(lag: int) -> None:
    model = dataclasses.replace(CALM, machine=Machine(dose_lag=lag, metering_sd_mm=0.2))
    assert detect_dose_lag(run(model=model).columns) == lag


def test_the_first_shots_after_a_stop_read_low_and_come_back() -> None:
    at_ms = shot_times(600, model=CALM, start_ms=0, seed=1)
    at_ms[300:] += 20 * 60_000
    cushion = simulate(CALM, at_ms=at_ms, seed=1).columns["cushion_mm"]
    usual = cushion[100:300].mean()
    assert cushion[300] < usual - 2
    assert abs(cushion[340:].mean() - usual) < 0.1


def test_a_screw_without_cushion_stops_at_bottom() -> None:
    shots = run(story=[Effect("unshut", 2000, 0.3)])
    assert shots.columns["cushion_mm"][2000:].max() == CALM.machine.true_bottom_mm
    assert shots.truth["at_bottom"][2000:].all()
    assert shots.truth["leaking"][2000:].all()
    assert not shots.truth["leaking"][:2000].any()


def test_rounding_and_cushion_definition() -> None:
    coarse = dataclasses.replace(CALM, machine=Machine(position_step_mm=0.1))
    cushion = run(model=coarse).columns["cushion_mm"]
    assert np.allclose(cushion * 10, np.round(cushion * 10))
    forward = dataclasses.replace(CALM, machine=Machine(cushion_definition="most_forward"))
    assert run(model=forward).columns["cushion_mm"].mean() < run().columns["cushion_mm"].mean() - 0.2


def test_the_same_seed_gives_the_same_shots() -> None:
    one, two, other = run(), run(), run(seed=6)
    assert all((one.columns[k] == two.columns[k]).all() for k in one.columns)
    assert (one.columns["cushion_mm"] != other.columns["cushion_mm"]).any()


def test_a_log_loses_repeats_and_wraps_records() -> None:
    low = dataclasses.replace(CALM, machine=Machine(true_bottom_mm=-0.5))
    shots = run(model=low, story=[Effect("unshut", 2000, 0.3)])
    log = as_logged(shots, model=low, seed=3, wrapped=True)
    counter, count = np.unique(log.columns["counter"], return_counts=True)
    assert 1 - len(counter) / 4000 == pytest.approx(low.noise.lost_share, abs=0.006)
    assert (count == 2).any()
    assert log.columns["cushion_mm"].max() == pytest.approx(654.86)


def test_columns_are_those_of_the_contract() -> None:
    assert set(run(10).columns) - {"at_ms", "counter"} <= set(SHOT_NUMBERS)


def test_parameters_carry_unit_range_and_source() -> None:
    for part in (Machine, Process, Valve, Noise):
        for field in dataclasses.fields(part):
            if field.metadata:
                assert field.metadata["low"] <= field.default <= field.metadata["high"], field.name
                assert field.metadata["source"]
    assert all(EFFECTS.values())


def test_an_unknown_effect_is_refused() -> None:
    with pytest.raises(InvalidError):
        run(10, story=[Effect("magic", 0, 1.0)])


def test_two_hundred_thousand_shots_take_less_than_a_second() -> None:
    began = time.process_time()
    run(200_000, story=[Effect("gap_growth", 1000, 1.0)])
    assert time.process_time() - began < 1.0
