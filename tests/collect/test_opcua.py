"""Cycles of a press that speaks OPC UA become shots: by name, in stored units, none lost unsaid."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Coroutine
from pathlib import Path
from typing import Any

import msgspec
import pytest
from asyncua.server.internal_session import InternalSession

from server.collect.opcua_collect import Station
from server.collect.opcua_cycle import CycleOptions
from server.collect.opcua_keep import PressAt
from server.collect.opcua_session import Access
from server.collect.source import SourceState
from server.collect.spool import Spool
from tests.collect.opcua_press import (
    METRIC,
    US,
    PressServer,
    published,
    simulated_shots,
    until,
    written_out,
)
from tests.processes import free_port


def shots_in(spool: Spool) -> list[dict[str, Any]]:
    return [msgspec.json.decode(one.line) for one in spool.oldest(100_000)]


@contextlib.asynccontextmanager
async def collecting(
    url: str, spool: Spool, folder: Path, *presses: PressAt, state: SourceState | None = None
) -> AsyncIterator[SourceState]:
    """A station that listens; it is up when every press is connected."""
    state = state or SourceState("opcua-test", "opcua", address=url)
    at = presses or (PressAt("P07"),)
    station = Station(url, at, access=Access(folder), spool=spool, state=state, seed=1)
    stop = asyncio.Event()
    task = asyncio.create_task(station.run(stop))
    try:
        await until(lambda: task.done() or all(state.of(one.press).connected for one in at))
        yield state
    finally:
        stop.set()
        await asyncio.wait_for(task, 20)


def run(test: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(test())


#: Reading the published nodesets takes seconds: the test command does it once, the long runs for every test.
PUBLISHED = pytest.param(published, id="published_nodesets", marks=pytest.mark.campaign)


@pytest.fixture(params=[pytest.param(written_out, id="built_in_code"), PUBLISHED])
def standard(request: pytest.FixtureRequest) -> Any:
    return request.param


@pytest.mark.parametrize(
    ("standard", "units"),
    [
        pytest.param(written_out, METRIC, id="built_in_code-metric"),
        pytest.param(written_out, US, id="built_in_code-us"),
        pytest.param(published, METRIC, id="published_nodesets-metric"),
        pytest.param(published, US, id="published_nodesets-us", marks=pytest.mark.campaign),
    ],
)
def test_cycles_become_shots_in_stored_units(standard: Any, units: Any, spool: Spool, tmp_path: Path) -> None:
    made = simulated_shots(5)

    async def test() -> None:
        async with PressServer(free_port(), standard=standard) as press:
            machine = await press.add_machine("IMM-7", serial="SN-77", units=units)
            async with collecting(press.url, spool, tmp_path) as state:
                for shot in made:
                    await machine.fire(shot)
                await until(lambda: spool.state().waiting == 5)
            seen = state.of("P07")
            assert seen.shots == 5
            assert seen.lost == 0
            assert seen.facts["serial"] == "SN-77"
            assert seen.facts["screw"] == "SCREW-9"
            assert seen.facts["screw_diameter"] == "45 mm"

    run(test)
    for shot, given in zip(shots_in(spool), made, strict=True):
        assert shot["press"] == "P07"
        assert shot["mold"] == "M-113"
        assert shot["material"] == "PP-DEMO"
        assert shot["setup"] == "SET-2"
        assert shot["lot"] == "LOT-A"
        assert shot["quality"] == "good"
        assert shot["counter"] == given["counter"]
        assert shot["cushion_mm"] == pytest.approx(given["cushion_mm"])
        assert shot["cushion_cm3"] == pytest.approx(given["cushion_mm"] * 1.5904312808798327)
        assert shot["shot_size_cm3"] == pytest.approx(given["shot_size_mm"] * 1.5904312808798327)
        assert shot["peak_pressure_bar"] == pytest.approx(given["peak_pressure_bar"])
        assert shot["transfer_position_mm"] == pytest.approx(given["transfer_position_mm"])
        assert shot["fill_time_s"] == pytest.approx(given["fill_time_s"])
        assert shot["recovery_time_s"] == pytest.approx(given["recovery_time_s"])
        assert shot["cycle_time_s"] == pytest.approx(given["cycle_time_s"])
        assert shot["zone_temps_c"] == pytest.approx([205.0, 215.0, 225.5])


def test_what_a_press_does_not_report_is_missing_and_said(
    standard: Any, spool: Spool, tmp_path: Path
) -> None:
    five = {
        "PlastificationVolume": "volume", "CushionVolume": "volume", "SpecificPressureMaximum": "pressure",
        "TransferSpecificPressure": "pressure",
    }  # fmt: skip
    (shot,) = simulated_shots(1)

    async def test() -> None:
        async with PressServer(free_port(), standard=standard) as press:
            machine = await press.add_machine("IMM-7", measured=five, machine_counter=False)
            async with collecting(press.url, spool, tmp_path) as state:
                await machine.fire({**shot, "TransferSpecificPressure": None, "SpecificPressureMaximum": 0.0})
                await until(lambda: state.of("P07").shots == 1)
            missing = state.of("P07").not_reported
            assert missing["transfer_pressure_bar"] == "not reported"
            assert missing["hold_pressure_bar"] == "not reported"
            assert "reads 0" in missing["peak_pressure_bar"]
            assert "cushion" not in missing

    run(test)
    (kept,) = shots_in(spool)
    assert "transfer_pressure_bar" not in kept
    assert "peak_pressure_bar" not in kept
    assert kept["counter"] == shot["counter"]


def test_units_are_read_from_the_event_type_where_events_carry_none(spool: Spool, tmp_path: Path) -> None:
    (shot,) = simulated_shots(1)

    async def test() -> None:
        async with PressServer(free_port(), event_units=False) as press:
            machine = await press.add_machine("IMM-7", units=US)
            async with collecting(press.url, spool, tmp_path):
                await machine.fire(shot)
                await until(lambda: spool.state().waiting == 1)

    run(test)
    assert shots_in(spool)[0]["cushion_mm"] == pytest.approx(shot["cushion_mm"])


def test_a_value_without_a_unit_becomes_no_field_unless_vouched_for(spool: Spool, tmp_path: Path) -> None:
    (shot,) = simulated_shots(1)
    bare = {**METRIC, "length": ("", "", 1.0, 0.0)}

    async def test() -> None:
        async with PressServer(free_port()) as press:
            machine = await press.add_machine("IMM-7", units=bare)
            async with collecting(press.url, spool, tmp_path) as state:
                await machine.fire(shot)
                await until(lambda: spool.state().waiting == 1)
                # The shot is on the disk a moment before the page of the sources knows of it.
                await until(lambda: state.of("P07").shots == 1)
                assert "--assume-units" in state.of("P07").not_reported["transfer_position_mm"]
            vouched = PressAt("P08", options=CycleOptions(assume="metric"))
            async with collecting(press.url, spool, tmp_path, vouched):
                await machine.fire(shot)
                await until(lambda: spool.state().waiting == 2)

    run(test)
    unclear, clear = shots_in(spool)
    assert "cushion_mm" not in unclear
    assert unclear["extra"]["CushionStroke_unit_unclear"] == shot["cushion_mm"]
    assert clear["cushion_mm"] == shot["cushion_mm"]


def test_a_mold_change_names_the_shots_behind_it(spool: Spool, tmp_path: Path) -> None:
    one, two = simulated_shots(2)

    async def test() -> None:
        async with PressServer(free_port()) as press:
            machine = await press.add_machine("IMM-7", mold="M/113")
            async with collecting(press.url, spool, tmp_path):
                await machine.fire(one)
                await until(lambda: spool.state().waiting == 1)
                await machine.mold.write_value("M-240")
                await asyncio.sleep(0.6)
                await machine.fire(two)
                await until(lambda: spool.state().waiting == 2)

    run(test)
    assert [shot["mold"] for shot in shots_in(spool)] == ["M-113", "M-240"]


def test_lost_cycles_are_counted_from_the_counter(spool: Spool, tmp_path: Path) -> None:
    made = simulated_shots(6)

    async def test() -> None:
        async with PressServer(free_port()) as press:
            machine = await press.add_machine("IMM-7")
            async with collecting(press.url, spool, tmp_path) as state:
                for shot in made:
                    await machine.fire(shot, silent=shot["counter"] in (3, 4))
                await until(lambda: spool.state().waiting == 4)
            assert state.of("P07").lost == 2

    run(test)
    assert [shot["counter"] for shot in shots_in(spool)] == [1, 2, 5, 6]


def test_lost_cycles_come_out_of_event_history_where_it_is_kept(
    standard: Any, spool: Spool, tmp_path: Path
) -> None:
    made = simulated_shots(8)

    async def test() -> None:
        async with PressServer(free_port(), standard=standard) as press:
            machine = await press.add_machine("IMM-7", history=True)
            async with collecting(press.url, spool, tmp_path) as state:
                for shot in made[:5]:
                    await machine.fire(shot, silent=shot["counter"] in (3, 4))
                await until(lambda: spool.state().waiting == 5)
                assert state.of("P07").lost == 0
            # Nobody listens now; the press keeps what it does.
            for shot in made[5:]:
                await machine.fire(shot)
            async with collecting(press.url, spool, tmp_path) as state:
                await until(lambda: spool.state().waiting == 8)
                assert state.of("P07").lost == 0

    run(test)
    assert [shot["counter"] for shot in shots_in(spool)] == list(range(1, 9))


def test_it_comes_back_by_itself_when_the_press_was_gone(spool: Spool, tmp_path: Path) -> None:
    made = simulated_shots(4)
    port = free_port()

    async def test() -> None:
        first = PressServer(port)
        await first.start()
        machine = await first.add_machine("IMM-7")
        async with collecting(first.url, spool, tmp_path) as state:
            await machine.fire(made[0])
            await until(lambda: spool.state().waiting == 1)
            await first.stop()
            await until(lambda: not state.of("P07").connected)
            assert state.of("P07").trouble
            async with PressServer(port) as second:
                machine = await second.add_machine("IMM-7")
                await until(lambda: state.of("P07").connected, within_s=40)
                await machine.fire(made[3])
                await until(lambda: spool.state().waiting == 2)
                await until(lambda: state.of("P07").lost == 2)

    run(test)


def test_a_press_that_takes_its_time_to_answer_is_not_cut_off(
    spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    one, two = simulated_shots(2)
    answers = InternalSession.read

    async def slowly(self: InternalSession, asked: Any) -> Any:
        await asyncio.sleep(1.5)
        return await answers(self, asked)

    async def test() -> None:
        async with PressServer(free_port()) as press:
            machine = await press.add_machine("IMM-7")
            async with collecting(press.url, spool, tmp_path) as state:
                await machine.fire(one)
                await until(lambda: state.of("P07").shots == 1)
                monkeypatch.setattr(InternalSession, "read", slowly)
                await asyncio.sleep(3.0)
                monkeypatch.setattr(InternalSession, "read", answers)
                await machine.fire(two)
                await until(lambda: state.of("P07").shots == 2)

    run(test)
    assert "again in" not in caplog.text


def test_several_machines_at_one_address_are_told_apart(spool: Spool, tmp_path: Path) -> None:
    one, two = simulated_shots(2)

    async def test() -> None:
        async with PressServer(free_port()) as press:
            left = await press.add_machine("LEFT", serial="SN-1", mold="M-1")
            right = await press.add_machine("RIGHT", serial="SN-2", mold="M-2")
            async with collecting(press.url, spool, tmp_path, PressAt("P01", "LEFT"), PressAt("P02", "SN-2")):
                await left.fire(one)
                await right.fire(two)
                await until(lambda: spool.state().waiting == 2)

    run(test)
    assert {(shot["press"], shot["mold"]) for shot in shots_in(spool)} == {("P01", "M-1"), ("P02", "M-2")}


def test_an_event_without_a_counter_is_kept_apart_with_the_reason(spool: Spool, tmp_path: Path) -> None:
    one, two = simulated_shots(2)

    async def test() -> None:
        async with PressServer(free_port()) as press:
            machine = await press.add_machine("IMM-7", machine_counter=False)
            async with collecting(press.url, spool, tmp_path) as state:
                await machine.fire(one, MachineCycleCounter=0, JobCycleCounter=None)
                await machine.fire(two)
                await until(lambda: spool.state().waiting == 1)
            assert "counter" in state.of("P07").trouble or state.of("P07").apart == 1

    run(test)
    (apart,) = spool.apart()
    assert apart.code == "no_counter"
    assert "JobCycleCounter is None" in apart.reason
    assert "CushionVolume" in apart.raw
