"""What becomes of the values of a cycle, without a press: pressures, units, zeros, zones, gaps."""

import asyncio
import csv
import datetime as dt
from typing import Any

import pytest
from asyncua import ua
from asyncua.ua.uaerrors import BadMonitoredItemFilterUnsupported

from server.collect.opcua_cycle import CycleOptions, Key, ReadCycle, Reading, read_cycle
from server.collect.opcua_events import Clause, EventLayout
from server.collect.opcua_subscribe import subscribe
from server.collect.opcua_track import JUMP_MAX, ZEROS, Last, ZeroWatch, lost_between
from server.collect.opcua_units import _CODES, Unit, unit_id, unit_of
from tests.collect.opcua_press import NODESETS


def unit(code: str) -> Unit:
    found = unit_of(unit_id(code), None)
    assert found is not None
    return found


def cycle(*, options: CycleOptions | None = None, **values: tuple[float | None, str]) -> ReadCycle:
    """A cycle with these values of injection unit 1, each with its unit's code."""
    readings: dict[Key, Reading] = {
        Key("cycle", 0, 0, "JobCycleCounter"): Reading(7),
        Key("cycle", 0, 0, "Time"): Reading(dt.datetime(2026, 4, 1, 6, tzinfo=dt.UTC)),
        Key("cycle", 0, 0, "CycleTime"): Reading(20_500.0),
    }
    for name, (value, code) in values.items():
        readings[Key("unit", 1, 0, name)] = Reading(value, unit(code) if code else None)
    return read_cycle(readings, press="P07", labels={}, options=options or CycleOptions())


def test_specific_and_hydraulic_pressures_are_never_mixed() -> None:
    both: dict[str, Any] = {
        "SpecificPressureMaximum": (820.0, "BAR"), "HydraulicPressureMaximum": (1190.0, "PS"),
    }  # fmt: skip
    specific = cycle(**both).shot
    assert specific["peak_pressure_bar"] == 820.0
    assert specific["extra"]["hydraulic_peak_bar"] == pytest.approx(82.05, abs=0.01)
    hydraulic = cycle(options=CycleOptions(pressure_basis="hydraulic"), **both).shot
    assert hydraulic["peak_pressure_bar"] == pytest.approx(82.05, abs=0.01)
    assert hydraulic["extra"]["specific_peak_bar"] == 820.0
    alone = cycle(HydraulicPressureMaximum=(82.0, "BAR"))
    assert "peak_pressure_bar" not in alone.shot
    assert alone.missing["peak_pressure_bar"] == "not reported"


def test_null_is_missing_and_zero_is_a_number_where_a_cycle_can_read_it() -> None:
    read = cycle(CushionVolume=(0.0, "CMQ"), BackPressure=(None, "BAR"), DosingTime=(0.0, ""))
    assert read.shot["cushion_cm3"] == 0.0
    assert "back_pressure_bar" not in read.shot
    assert "recovery_time_s" not in read.shot
    assert "reads 0" in read.missing["recovery_time_s"]


def test_a_unit_of_another_quantity_makes_no_field() -> None:
    read = cycle(CushionStroke=(6.1, "BAR"))
    assert "cushion_mm" not in read.shot
    assert read.shot["extra"] == {"CushionStroke_unit_unclear": 6.1}
    assert "'bar'" in read.missing["cushion_mm"]


def test_the_screw_diameter_turns_volumes_of_speed_and_suck_back_into_travel() -> None:
    values: dict[str, Any] = {
        "InjectionSpeedAverage": (100.0, "2J"), "DecompressionVolumeAfterPlastification": (5.0, "CMQ"),
    }  # fmt: skip
    with_screw = cycle(options=CycleOptions(screw_diameter_mm=40.0), **values).shot
    assert with_screw["injection_speed_mm_s"] == pytest.approx(100_000 / 1256.637, rel=1e-6)
    assert with_screw["decompression_mm"] == pytest.approx(5_000 / 1256.637, rel=1e-6)
    without = cycle(**values).shot
    assert "injection_speed_mm_s" not in without
    assert without["extra"]["InjectionSpeedAverage_cm3_s"] == 100.0


def test_the_first_value_that_is_there_fills_a_field() -> None:
    assert cycle(TransferStroke=(14.0, "MMT")).shot["transfer_position_mm"] == 14.0
    both = cycle(TransferStroke=(14.0, "MMT"), VPChangeOverPosition=(15.0, "MMT")).shot
    assert both["transfer_position_mm"] == 15.0


def test_another_injection_unit_stays_beside() -> None:
    readings = {
        Key("cycle", 0, 0, "JobCycleCounter"): Reading(7),
        Key("cycle", 0, 0, "Time"): Reading(dt.datetime(2026, 4, 1, 6, tzinfo=dt.UTC)),
        Key("unit", 1, 0, "CushionStroke"): Reading(6.1, unit("MMT")),
        Key("unit", 2, 0, "CushionStroke"): Reading(3.3, unit("MMT")),
        Key("barrel", 1, 2, "ActualTemperature"): Reading(428.0, unit("FAH")),
        Key("barrel", 1, 1, "ActualTemperature"): Reading(392.0, unit("FAH")),
        Key("barrel", 2, 1, "ActualTemperature"): Reading(180.0, unit("CEL")),
    }
    first = read_cycle(readings, press="P07", labels={}, options=CycleOptions()).shot
    assert first["cushion_mm"] == 6.1
    assert first["zone_temps_c"] == pytest.approx([200.0, 220.0])
    assert first["extra"] == {"unit2_cushion_mm": 3.3, "barrel2_zone1_c": 180.0}
    second = read_cycle(readings, press="P07", labels={}, options=CycleOptions(unit=2)).shot
    assert second["cushion_mm"] == 3.3


def test_gaps_are_counted_and_resets_are_none() -> None:
    def at(counter: int, counted_by: str = "MachineCycleCounter") -> ReadCycle:
        return ReadCycle({}, counter, counted_by, 2000, {})

    last = Last("MachineCycleCounter", 12, 1000)
    assert [lost_between(last, at(counter)) for counter in (13, 14, 20, 12, 1)] == [0, 1, 7, 0, 0]
    assert lost_between(last, at(12 + JUMP_MAX + 1)) == 0
    assert lost_between(last, at(20, "JobCycleCounter")) == 0


def test_a_number_that_is_always_zero_is_told_and_forgiven_at_the_first_other() -> None:
    watch = ZeroWatch()
    said = [watch.look({"cushion_mm": 0.0}) for _ in range(ZEROS)]
    assert said[-2] == {}
    assert "measure it" in said[-1]["cushion_mm"]
    assert watch.look({"cushion_mm": 0.1}) == {}
    assert [watch.look({"cushion_mm": 0.0}) for _ in range(2 * ZEROS)][-1] == {}


@pytest.mark.parametrize("refused", [0, 1, 2])
def test_a_press_that_takes_only_plain_questions_is_asked_plainly(refused: int) -> None:
    class Press:
        def __init__(self) -> None:
            self.asked: list[Any] = []

        async def subscribe_events(self, _node: Any, *, evfilter: Any, queuesize: int) -> int:
            self.asked.append(evfilter)
            if len(self.asked) <= refused:
                raise BadMonitoredItemFilterUnsupported
            return 41

    press = Press()
    path = (ua.QualifiedName("CushionVolume", ua.UInt16(2)),)
    type_id = ua.NodeId(ua.Int32(9), ua.Int16(3))
    clause = Clause(Key("unit", 1, 0, "CushionVolume"), path, type_id, Reading(None, unit("CMQ")))
    layout = EventLayout(frozenset({type_id}), ("CycleEventType",), (clause,))
    handle, plan = asyncio.run(subscribe(press, None, layout))  # type: ignore[arg-type]  # a stand-in
    assert handle == 41
    operands = plan.filter.SelectClauses
    names = [operand.BrowsePath[-1].Name for operand in operands]
    assert ("EngineeringUnits" in names) == (refused == 0)
    assert (operands[-1].TypeDefinitionId == type_id) == (refused == 2)


def test_codes_are_those_of_the_published_table() -> None:
    file = NODESETS / "UNECE_to_OPCUA.csv"
    if not file.is_file():
        pytest.skip("the unit table is not in ../shared/reference/opcua")
    with file.open(encoding="utf-8-sig", newline="") as text:
        table = {row["UNECECode"]: int(row["UnitId"]) for row in csv.DictReader(text)}
    assert {code: table.get(code) for code in _CODES} == {code: unit_id(code) for code in _CODES}
