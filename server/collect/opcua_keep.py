"""Cycles into the spool: read, repeats left out, gaps counted and filled from event history."""

import asyncio
import collections
import dataclasses
import logging
from collections.abc import Callable, Iterable, Sequence
from typing import Final

import msgspec
from asyncua.ua.uaerrors import UaError

from server.clock import now_ms
from server.collect.opcua_cycle import (
    CycleOptions,
    Key,
    ReadCycle,
    Reading,
    UnreadableCycleError,
    read_cycle,
)
from server.collect.opcua_machines import Machine
from server.collect.opcua_session import what_went_wrong
from server.collect.opcua_subscribe import Plan, read_history
from server.collect.opcua_track import Last, ZeroWatch, fills, lost_between
from server.collect.patience import keep_patiently
from server.collect.source import SourceState
from server.collect.spool import Spool

log = logging.getLogger("ringtell.collect")

#: Cycles remembered to know one that comes again, live and out of history.
_REMEMBERED: Final = 2_000
#: A press clock further off than this is told; shots more than 10 min ahead the server keeps apart.
_CLOCK_OFF_S: Final = 60.0


@dataclasses.dataclass(frozen=True)
class PressAt:
    """A press of the plant and which machine of the address it is: by name or serial number, '' the only."""

    press: str
    machine: str = ""
    options: CycleOptions = dataclasses.field(default_factory=CycleOptions)


@dataclasses.dataclass
class Line:
    """A press within a session."""

    at: PressAt
    machine: Machine
    options: CycleOptions
    labels: dict[str, str]
    plan: Plan | None = None


class Keeper:
    """What is known of each press across sessions, and the way into the spool."""

    def __init__(self, presses: Iterable[str], *, spool: Spool, state: SourceState) -> None:
        codes = list(presses)
        #: Set by whoever runs this: a full spool is then not waited for any longer.
        self.stop = asyncio.Event()
        self._spool = spool
        self._state = state
        self._last = {one: Last.of_text(spool.mark(f"opcua {one}")) for one in codes}
        self._zeros = {one: ZeroWatch() for one in codes}
        self._recent: dict[str, collections.OrderedDict[tuple[int, int], None]] = {
            one: collections.OrderedDict() for one in codes
        }

    async def read(self, line: Line, readings: dict[Key, Reading]) -> ReadCycle | None:
        """The shot of an event; what is no cycle event is passed over, what cannot be read kept apart."""
        job = readings.get(Key("cycle", 0, 0, "JobCycleCounter"), Reading(None)).value
        machine = readings.get(Key("cycle", 0, 0, "MachineCycleCounter"), Reading(None)).value
        if job is None and machine is None:
            return None
        try:
            return read_cycle(readings, press=line.at.press, labels=line.labels, options=line.options)
        except UnreadableCycleError as error:
            await self._keep_apart(line.at.press, readings, error.code, error.reason)
            return None

    async def _keep_apart(self, press: str, readings: dict[Key, Reading], code: str, reason: str) -> None:
        raw = msgspec.json.encode({key.name: repr(one.value)[:80] for key, one in readings.items()}).decode()
        self._state.apart(press, reason)
        log.error("%s: an event is kept apart: %s", press, reason)
        await self._patiently(lambda: self._spool.keep_apart(press, raw, code=code, reason=reason))

    async def keep(self, line: Line, cycles: Sequence[ReadCycle], *, live: bool) -> None:
        """Into the spool in order; gaps of the counter are filled from history where there is one."""
        press = line.at.press
        fresh: list[ReadCycle] = []
        last = self._last[press]
        for cycle in cycles:
            if self._came_before(press, cycle):
                continue
            gap = lost_between(last, cycle)
            if gap and last is not None:
                found = await self._history(line, last, cycle) if live else []
                fresh += found
                if gap > len(found):
                    self._state.lost(press, gap - len(found))
                    log.warning("%s: %d cycles before %d were lost", press, gap - len(found), cycle.counter)
            fresh.append(cycle)
            last = Last(cycle.counted_by, cycle.counter, cycle.at_ms)
        if not fresh or last is None:
            return
        marks = {f"opcua {press}": last.text()}
        await self._patiently(lambda: self._spool.append([one.shot for one in fresh], marks=marks))
        self._last[press] = last
        self._note(press, fresh, live=live)

    def _came_before(self, press: str, cycle: ReadCycle) -> bool:
        recent, key = self._recent[press], (cycle.counter, cycle.at_ms)
        last = self._last[press]
        if key in recent or (last is not None and key == (last.counter, last.at_ms)):
            return True
        recent[key] = None
        if len(recent) > _REMEMBERED:
            recent.popitem(last=False)
        return False

    def _note(self, press: str, cycles: Sequence[ReadCycle], *, live: bool) -> None:
        newest = cycles[-1]
        offset = (newest.at_ms - now_ms()) / 1000.0 if live else None
        self._state.shots(press, count=len(cycles), last_ms=newest.at_ms, clock_offset_s=offset)
        missing = dict(newest.missing)
        for cycle in cycles:
            missing |= self._zeros[press].look(cycle.shot)
        self._state.not_reported(press, missing)
        if offset is not None:
            wrong = f"the clock of the press is {offset:+.0f} s off" if abs(offset) > _CLOCK_OFF_S else ""
            self._state.connected(press, True, trouble=wrong)

    # --- history ------------------------------------------------------------------------------

    async def catch_up(self, lines: Iterable[Line]) -> None:
        """What the press finished while nobody listened, where it keeps its events."""
        for line in lines:
            last = self._last[line.at.press]
            if last is None or not line.machine.keeps_history:
                continue
            cycles = await self._out_of_history(line, last.at_ms + 1, now_ms())
            if cycles:
                log.info("%s: %d cycles out of event history", line.at.press, len(cycles))
                await self.keep(line, cycles, live=False)

    async def _history(self, line: Line, last: Last, until: ReadCycle) -> list[ReadCycle]:
        if not line.machine.keeps_history:
            return []
        cycles = await self._out_of_history(line, last.at_ms + 1, until.at_ms)
        found = [cycle for cycle in cycles if fills(last, cycle, until)]
        return [cycle for cycle in found if not self._came_before(line.at.press, cycle)]

    async def _out_of_history(self, line: Line, from_ms: int, to_ms: int) -> list[ReadCycle]:
        if line.plan is None or from_ms > to_ms:
            return []
        try:
            events = list(await read_history(line.machine.node, line.plan, from_ms=from_ms, to_ms=to_ms))
        except UaError as error:
            log.warning("%s: event history is not answered: %s", line.at.press, what_went_wrong(error))
            return []
        read = [await self.read(line, one) for one in events]
        cycles = {(one.counter, one.at_ms): one for one in read if one is not None}
        return sorted(cycles.values(), key=lambda one: (one.at_ms, one.counter))

    async def _patiently(self, keep: Callable[[], None]) -> None:
        await keep_patiently(keep, state=self._state, stop=self.stop)
