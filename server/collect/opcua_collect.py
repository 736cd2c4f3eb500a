"""Collecting from one OPC UA address: connect, ask, listen, catch up, and begin again after trouble.

`Station.run` goes on until it is told to stop. What comes is a shot in the spool within the same
second; only when the spool is full does it wait, and what a press kept meanwhile comes from its event
history where it offers one. Nothing is ever written to a press.
"""

import asyncio
import dataclasses
import logging
import random
import time
from collections.abc import Sequence
from typing import Any, Final

from asyncua import Client, Node, ua
from asyncua.common.subscription import Subscription
from asyncua.ua.uaerrors import UaError

from server.collect import opcua_names as names
from server.collect.opcua_cycle import (
    Key,
    ReadCycle,
    Reading,
    as_label,
)
from server.collect.opcua_events import EventLayout, find_events
from server.collect.opcua_keep import Keeper, Line, PressAt
from server.collect.opcua_machines import Machine, find_machines
from server.collect.opcua_session import Access, open_client, what_went_wrong
from server.collect.opcua_space import NoPressError, Space, read_value
from server.collect.opcua_subscribe import (
    SILENT_AFTER_S,
    open_subscription,
    readings_of,
    subscribe,
)
from server.collect.patience import pause
from server.collect.source import SourceState
from server.collect.spool import Spool, StoppedWaitingError
from server.errors import RingtellError

log = logging.getLogger("ringtell.collect")

FIRST_WAIT_S: Final = 1.0
LONGEST_WAIT_S: Final = 60.0
#: A session that held this long ends the growing of the waits.
_HELD_S: Final = 30.0
_HEARTBEAT_S: Final = 5.0
_WAITING_EVENTS: Final = 20_000
_AT_ONCE: Final = 500


#: 'event' with its handle and fields, or 'label' with its node and value.
Notified = tuple[str, Any, Any]


class _Session:
    """What arrives from a press: notifications in their order, and whether the session is over."""

    def __init__(self) -> None:
        self.waiting: asyncio.Queue[Notified] = asyncio.Queue(maxsize=_WAITING_EVENTS)
        self.dropped = 0
        self.over = ""
        self.label_of: dict[ua.NodeId, tuple[str, str]] = {}

    def _put(self, item: Notified) -> None:
        try:
            self.waiting.put_nowait(item)
        except asyncio.QueueFull:
            self.dropped += 1

    def event_notification(self, event: Any) -> None:
        self._put(("event", event.server_handle, event.event_fields))

    def datachange_notification(self, node: Node, value: Any, _data: Any) -> None:
        self._put(("label", node.nodeid, value))

    def status_change_notification(self, status: Any) -> None:
        self.over = f"the press ended the subscription: {status}"


class Station:
    """One address and its presses."""

    def __init__(
        self,
        url: str,
        presses: Sequence[PressAt],
        *,
        access: Access,
        spool: Spool,
        state: SourceState,
        trust_new_certificate: bool = False,
        seed: int | None = None,
    ) -> None:
        self.url = url
        self.presses = tuple(presses)
        self._access = access
        self._spool = spool
        self._state = state
        self._trust_new = trust_new_certificate
        self._chance = random.Random(seed)
        self._keeper = Keeper([one.press for one in presses], spool=spool, state=state)

    async def run(self, stop: asyncio.Event) -> None:
        """Collect until `stop`; every trouble is told and tried again, each time later."""
        failures = 0
        self._keeper.stop = stop
        while not stop.is_set():
            began = time.monotonic()
            try:
                await self._one_session(stop)
                trouble = ""
            except StoppedWaitingError:
                break
            except (OSError, UaError, TimeoutError, RingtellError, ValueError, ConnectionError) as error:
                trouble = what_went_wrong(error)
            if stop.is_set():
                break
            failures = 0 if time.monotonic() - began > _HELD_S else failures + 1
            for one in self.presses:
                self._state.connected(one.press, False, trouble=trouble or "the session ended")
            longest = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 20))
            wait_s = longest * self._chance.uniform(0.5, 1.0)
            log.warning("%s: %s; again in %.1f s", self.url, trouble or "the session ended", wait_s)
            await pause(stop, wait_s)

    # --- a session ----------------------------------------------------------------------------

    async def _one_session(self, stop: asyncio.Event) -> None:
        mark = f"certificate {self.url}"
        remembered = None if self._trust_new else self._spool.mark(mark)
        client, fingerprint = await open_client(self.url, self._access, remembered=remembered)
        try:
            if fingerprint and fingerprint != self._spool.mark(mark):
                await asyncio.to_thread(self._spool.append, [], marks={mark: fingerprint})
            self._trust_new = False
            session = _Session()
            lines, subscription = await self._listen(client, session)
            await self._keeper.catch_up([line for group in lines.values() for line in group])
            await self._hear(client, session, lines, subscription, stop)
        finally:
            await _leave(client)

    async def _listen(self, client: Client, session: _Session) -> tuple[dict[int, list[Line]], Subscription]:
        space = await Space.of(client)
        machines = await find_machines(space)
        layout = await find_events(space)
        subscription = await open_subscription(client, session)
        lines: dict[int, list[Line]] = {}
        at_server: list[Line] = []
        for one in self.presses:
            line = await self._line(one, pick(machines, one.machine, self.url))
            await self._follow(subscription, session, line)
            if line.machine.notifies:
                handle, line.plan = await subscribe(subscription, line.machine.node, layout)
                lines[handle] = [line]
            else:
                at_server.append(line)
        if at_server:
            lines |= await self._at_server(client, subscription, layout, at_server)
        for one in self.presses:
            self._state.connected(one.press, True)
        return lines, subscription

    async def _at_server(
        self, client: Client, subscription: Subscription, layout: EventLayout, lines: list[Line]
    ) -> dict[int, list[Line]]:
        """Machines that do not notify themselves: their events come from the server's node."""
        handle, plan = await subscribe(subscription, client.nodes.server, layout)
        for line in lines:
            line.plan = plan
        return {handle: lines}

    async def _line(self, at: PressAt, machine: Machine) -> Line:
        labels: dict[str, str] = {}
        for label in names.FOLLOWED:
            if label in machine.variables:
                labels[label] = as_label(label, await read_value(machine.variables[label]))
        options = at.options
        if options.screw_diameter_mm is None:
            options = dataclasses.replace(options, screw_diameter_mm=machine.screw_diameter_mm)
        history = "of events kept" if machine.keeps_history else "of events not kept"
        self._state.facts(at.press, {**machine.facts, "machine": machine.name, "history": history})
        return Line(at, machine, options, labels)

    async def _follow(self, subscription: Subscription, session: _Session, line: Line) -> None:
        """Mold, material and set-up as they change, in the same order as the cycles."""
        for label in names.FOLLOWED:
            node = line.machine.variables.get(label)
            if node is None:
                continue
            session.label_of[node.nodeid] = (line.at.press, label)
            try:
                await subscription.subscribe_data_change(node)
            except UaError as error:
                log.warning("%s: %s cannot be followed: %s", line.at.press, label, what_went_wrong(error))

    # --- what comes ---------------------------------------------------------------------------

    async def _hear(
        self,
        client: Client,
        session: _Session,
        lines: dict[int, list[Line]],
        subscription: Subscription,
        stop: asyncio.Event,
    ) -> None:
        opened = heartbeat = time.monotonic()
        while not stop.is_set():
            items = await _some(session.waiting, within_s=1.0)
            await self._take(session, lines, items)
            now = time.monotonic()
            if session.over:
                raise UaError(session.over)
            if now - (subscription.last_publish_at or opened) > SILENT_AFTER_S:
                raise TimeoutError
            if now - heartbeat > _HEARTBEAT_S:
                heartbeat = now
                await client.nodes.server_state.read_value()
            if session.dropped:
                log.error("%s: %d notifications came faster than they were kept", self.url, session.dropped)
                session.dropped = 0
        await self._take(session, lines, await _some(session.waiting, within_s=0.0))

    async def _take(self, session: _Session, lines: dict[int, list[Line]], items: Sequence[Notified]) -> None:
        by_press = {line.at.press: line for group in lines.values() for line in group}
        heard: dict[str, list[ReadCycle]] = {}
        for kind, origin, content in items:
            if kind == "label":
                press, label = session.label_of[origin]
                by_press[press].labels[label] = as_label(label, content)
            elif origin in lines:
                line, readings = self._whose(lines[origin], content)
                cycle = None if line is None else await self._keeper.read(line, readings)
                if line is not None and cycle is not None:
                    heard.setdefault(line.at.press, []).append(cycle)
        for press, cycles in heard.items():
            await self._keeper.keep(by_press[press], cycles, live=True)

    def _whose(self, lines: list[Line], fields: Sequence[Any]) -> tuple[Line | None, dict[Key, Reading]]:
        plan = lines[0].plan
        readings = readings_of(plan, fields) if plan is not None else {}
        source = readings.get(Key("cycle", 0, 0, "SourceNode"), Reading(None)).value
        for line in lines:
            if len(lines) == 1 and line.machine.notifies:
                return line, readings
            if isinstance(source, ua.NodeId) and source == line.machine.node.nodeid:
                return line, readings
        return None, readings


def pick(machines: Sequence[Machine], wanted: str, url: str) -> Machine:
    """The machine of that browse name or serial number; '' takes the only one. Raises `NoPressError`."""
    there = ", ".join(f"{one.name} ({one.serial})" if one.serial else one.name for one in machines)
    fitting = [one for one in machines if not wanted or wanted in (one.name, one.serial)]
    if len(fitting) == 1:
        return fitting[0]
    if not machines:
        raise NoPressError(f"{url} offers no machine of OPC 40077")
    if not wanted:
        raise NoPressError(f"{url} has {len(machines)} machines: {there}; say which: --press P07=NAME")
    raise NoPressError(f"{url} has no single machine {wanted!r}; there are: {there}")


async def _some(queue: "asyncio.Queue[Notified]", *, within_s: float) -> list[Notified]:
    """What waits, at least one when one comes in time, at most a bounded number."""
    items = []
    if within_s > 0.0:
        try:
            items.append(await asyncio.wait_for(queue.get(), within_s))
        except TimeoutError:
            return []
    while len(items) < _AT_ONCE and not queue.empty():
        items.append(queue.get_nowait())
    return items


async def _leave(client: Client) -> None:
    try:
        await asyncio.wait_for(client.disconnect(), 5.0)
    except (OSError, UaError, TimeoutError, ConnectionError) as error:
        log.debug("leaving: %s", error)
