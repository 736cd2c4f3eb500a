"""Forty presses at once, a shift's cycles compressed: no shot lost, memory flat."""

import asyncio
import resource
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
import pytest

from server.collect.opcua_collect import Station
from server.collect.opcua_keep import PressAt
from server.collect.opcua_session import Access
from server.collect.source import SourceState
from server.collect.spool import Spool
from tests.collect.opcua_press import MEASURED, METRIC, PressServer, SimMachine, simulated_shots, until
from tests.processes import free_port


async def made_ready(servers: Sequence[PressServer], presses: int) -> list[SimMachine]:
    """Machines spread over the servers, those of one server with one event type."""
    machines = []
    each = presses // len(servers)
    for server in servers:
        event_type = await server.vendor_types(METRIC, MEASURED, "SharedCycleEventType")
        for number in range(each):
            machines.append(
                await server.add_machine(f"IMM-{number}", serial=f"SN-{number}", event_type=event_type)
            )
    return machines


def rss_mb() -> float:
    """Memory of this process now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


class Emptied:
    """The spool is emptied meanwhile, as a sender would; what came is counted by press."""

    def __init__(self, spool: Spool, codes: Sequence[str]) -> None:
        self._spool = spool
        self.counted = {code: set[int]() for code in codes}
        self.total = 0
        self.memory: list[float] = []

    def empty(self) -> None:
        lines = self._spool.oldest(5_000)
        for line in lines:
            self.counted[line.press].add(msgspec.json.decode(line.line)["counter"])
        self._spool.acknowledge(lines)
        self.total += len(lines)

    async def until(self, total: int, *, within_s: float) -> None:
        """Until so many came; after so long without, what is missing is lost and no later cycle brings it."""
        began = time.monotonic()
        while self.total < total:
            assert time.monotonic() - began < within_s, f"{self.total} came, {total} were to be there"
            await asyncio.sleep(0.01)
            await asyncio.to_thread(self.empty)


async def shift(spool: Spool, folder: Path, *, presses: int, cycles: int, servers: int) -> dict[str, Any]:
    """Every press finishes `cycles` cycles."""
    made = simulated_shots(cycles)
    running = [PressServer(free_port()) for _ in range(servers)]
    for one in running:
        await one.start()
    machines = await made_ready(running, presses)
    state = SourceState("opcua-many", "opcua")
    codes = [f"P{number:02}" for number in range(presses)]
    each = presses // servers
    stations = [
        Station(
            one.url,
            [PressAt(codes[position * each + number], f"IMM-{number}") for number in range(each)],
            access=Access(folder), spool=spool, state=state, seed=position,
        )
        for position, one in enumerate(running)
    ]  # fmt: skip
    stop = asyncio.Event()
    tasks = [asyncio.create_task(station.run(stop)) for station in stations]
    await until(lambda: all(state.of(code).connected for code in codes), within_s=240)
    emptied, began = Emptied(spool, codes), time.monotonic()
    for number, shot in enumerate(made, start=1):
        for machine in machines:
            await machine.fire(shot)
            # Firing alone never waits; what publishes and what listens must have their turn.
            await asyncio.sleep(0)
        # As fast as it goes, but no faster: a press's own queue holds a thousand events, not a shift.
        await emptied.until((number - 20) * presses, within_s=60)
        if number % max(1, cycles // 20) == 0:
            emptied.memory.append(rss_mb())
    await emptied.until(presses * cycles, within_s=60)
    took = time.monotonic() - began
    stop.set()
    await asyncio.gather(*tasks)
    for one in running:
        await one.stop()
    return {
        "whole": all(found == set(range(1, cycles + 1)) for found in emptied.counted.values()),
        "stored": emptied.total, "lost": sum(state.of(code).lost for code in codes), "took_s": took,
        "memory_mb": emptied.memory,
    }  # fmt: skip


def test_eight_presses_at_once_lose_nothing(spool: Spool, tmp_path: Path) -> None:
    found = asyncio.run(shift(spool, tmp_path, presses=8, cycles=25, servers=2))
    assert found["whole"], found
    assert found["stored"] == 200
    assert found["lost"] == 0


@pytest.mark.campaign
def test_forty_presses_through_a_shift(spool: Spool, tmp_path: Path) -> None:
    # Eight hours at a cycle every 20 s are 1,440 cycles a press.
    found = asyncio.run(shift(spool, tmp_path, presses=40, cycles=1_440, servers=4))
    print(f"\n40 presses, 1,440 cycles each: {found}")  # noqa: T201  the figures of the campaign
    assert found["whole"], found
    assert found["stored"] == 57_600
    assert found["lost"] == 0
    first, second = found["memory_mb"][5:10], found["memory_mb"][-5:]
    assert sum(second) / 5 < sum(first) / 5 + 25.0
