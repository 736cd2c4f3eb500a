"""What an OPC UA address has: each press, and what it would give, in words."""

import dataclasses

from server.collect import opcua_names as names
from server.collect.opcua_events import EventLayout, fields_offered, find_events
from server.collect.opcua_machines import Machine, find_machines
from server.collect.opcua_session import Access, open_client
from server.collect.opcua_space import NoPressError, Space, read_value


@dataclasses.dataclass(frozen=True)
class PressOffered:
    """A press at an address. `gives` and `lacks`: fields of a shot by its event types' declaration."""

    name: str
    serial: str
    mold: str
    facts: dict[str, str]
    gives: tuple[str, ...]
    lacks: tuple[str, ...]
    keeps_history: bool

    def lines(self) -> list[str]:
        """As the command line prints it."""
        facts = ", ".join(f"{name} {text}" for name, text in sorted(self.facts.items()) if text)
        history = "kept: cycles missed are fetched afterwards" if self.keeps_history else "not kept"
        return [
            f"{self.name}  ({facts or 'says nothing of itself'})",
            f"  mold now: {self.mold or 'not said'}",
            f"  gives:    {', '.join(self.gives) or 'nothing'}",
            f"  lacks:    {', '.join(self.lacks) or 'nothing that is wanted'}",
            f"  history:  {history}",
        ]


async def browse(url: str, access: Access, *, pressure_basis: str) -> list[PressOffered]:
    """Every press at an address. Raises what the connection raises, and `NoPressError`."""
    client, _ = await open_client(url, access, remembered=None)
    try:
        space = await Space.of(client)
        machines = await find_machines(space)
        if not machines:
            raise NoPressError(f"{url} offers no machine of OPC 40077")
        layout = await find_events(space)
        return [await _offered(machine, layout, pressure_basis) for machine in machines]
    finally:
        await client.disconnect()


async def _offered(machine: Machine, layout: EventLayout, pressure_basis: str) -> PressOffered:
    fields = tuple(dict.fromkeys(fields_offered(layout, pressure_basis)))
    there = {*fields, *(["cushion"] if {"cushion_mm", "cushion_cm3"} & set(fields) else [])}
    mold = await read_value(machine.variables["mold"]) if "mold" in machine.variables else None
    return PressOffered(
        name=machine.name,
        serial=machine.serial,
        mold=str(mold or ""),
        facts=machine.facts,
        gives=fields,
        lacks=tuple(name for name in names.WANTED if name not in there),
        keeps_history=machine.keeps_history,
    )
