"""The cycle events of an address: concrete types, and every value worth asking for.

A vendor derives its own event type and objects in its own namespace; the values inside carry the
standard's names and namespaces.
"""

import dataclasses
from collections.abc import Iterable

from asyncua import Node, ua
from asyncua.ua.uaerrors import UaError

from server.collect import opcua_names as names
from server.collect.opcua_cycle import Key, Reading
from server.collect.opcua_space import Child, NoPressError, Space, declared_unit


@dataclasses.dataclass(frozen=True)
class Clause:
    """One value the subscription asks for. `declared`: the unit written at the event type."""

    key: Key
    path: tuple[ua.QualifiedName, ...]
    type_id: ua.NodeId
    declared: Reading


@dataclasses.dataclass(frozen=True)
class EventLayout:
    """The concrete cycle event types of a server and every value they may carry."""

    type_ids: frozenset[ua.NodeId]
    type_names: tuple[str, ...]
    clauses: tuple[Clause, ...]


async def find_events(space: Space) -> EventLayout:
    """The concrete cycle event types below the standard's, and every value worth asking for.

    Raises `NoPressError` where the server has none: then no shot can come from it.
    """
    base = space.client.get_node(ua.NodeId(ua.Int32(ua.ObjectIds.BaseEventType)))
    roots = [c for c in await space.subtypes(base) if (c.uri, c.name) == names.EVENT_TYPE]
    if not roots:
        raise NoPressError("the address offers no cycle events of OPC 40083; is it an injection press's?")
    concrete = [one for one in await space.subtypes(roots[0].node) if not await _is_abstract(one.node)]
    if not concrete:
        raise NoPressError("the press derives no event type of its own from CycleParametersEventType")
    clauses: dict[Key, Clause] = {}
    for event_type in concrete:
        for one in await space.chain(event_type.node.nodeid):
            for clause in await _clauses(space, one.node, event_type.node.nodeid):
                clauses.setdefault(clause.key, clause)
    return EventLayout(
        frozenset(one.node.nodeid for one in concrete),
        tuple(sorted(one.name for one in concrete)),
        tuple(clauses.values()),
    )


async def _is_abstract(node: Node) -> bool:
    try:
        value = (await node.read_attribute(ua.AttributeIds.IsAbstract)).Value
    except UaError:
        return False
    return bool(value is not None and value.Value)


async def _clauses(space: Space, event_type: Node, type_id: ua.NodeId) -> list[Clause]:
    clauses = []
    for child in await space.children(event_type, references=ua.ObjectIds.Aggregates):
        if child.name in names.CYCLE_FIELDS and child.uri == names.GENERAL:
            clauses.append(Clause(Key("cycle", 0, 0, child.name), (child.qualified,), type_id, Reading(None)))
        for kind in (names.UNIT_OBJECT, names.MOULD_OBJECT):
            match = kind.match(child.name)
            if match and child.node_class == ua.NodeClass.Object:
                number = int(match[1] or 1)
                clauses += await _of_object(space, child, number, (child.qualified,), type_id)
    return clauses


async def _members(space: Space, child: Child) -> list[Child]:
    """What an object holds, its own and what its type declares."""
    members = {one.name: one for one in await space.children(child.node, references=ua.ObjectIds.Aggregates)}
    for one in await space.chain(child.type_id):
        for member in await space.children(one.node, references=ua.ObjectIds.Aggregates):
            members.setdefault(member.name, member)
    return list(members.values())


async def _of_object(
    space: Space, child: Child, number: int, path: tuple[ua.QualifiedName, ...], type_id: ua.NodeId
) -> list[Clause]:
    clauses = []
    for member in await _members(space, child):
        below = (*path, member.qualified)
        if member.name in names.UNIT_FIELDS and member.uri == names.IMM:
            declared = await declared_unit(space, member.node)
            clauses.append(Clause(Key("unit", number, 0, member.name), below, type_id, declared))
        barrel, mould = names.BARREL_ZONE.match(member.name), names.MOULD_ZONE.match(member.name)
        match = barrel or mould
        if match and member.node_class == ua.NodeClass.Object:
            key = Key("barrel" if barrel else "mould", number, int(match[1] or 1), names.ZONE_FIELD)
            clauses += await _of_zone(space, member, key, below, type_id)
    return clauses


async def _of_zone(
    space: Space, zone: Child, key: Key, path: tuple[ua.QualifiedName, ...], type_id: ua.NodeId
) -> list[Clause]:
    for member in await _members(space, zone):
        if member.name == names.ZONE_FIELD and member.uri == names.GENERAL:
            declared = await declared_unit(space, member.node)
            return [Clause(key, (*path, member.qualified), type_id, declared)]
    return []


def fields_offered(layout: EventLayout, pressure_basis: str) -> Iterable[str]:
    """Fields of a shot the event types declare; what a press fills of them shows at its first cycle."""
    targets = names.unit_targets(pressure_basis)
    for clause in layout.clauses:
        if clause.key.group == "unit" and not targets[clause.key.name].extra:
            yield targets[clause.key.name].field
        elif clause.key.group == "barrel":
            yield "zone_temps_c"
        elif clause.key.name == "CycleTime":
            yield "cycle_time_s"
