"""The address space of a press, browsed by namespace URI and browse name, never by a fixed node id.

Namespace indexes and node ids differ from press to press and from start to start, so both are looked
up anew in every session.
"""

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from asyncua import Client, Node, ua
from asyncua.ua.uaerrors import UaError

from server.collect import opcua_names as names
from server.collect.opcua_cycle import Reading
from server.collect.opcua_units import Unit, unit_of
from server.errors import RingtellError

_SUBTYPES_MAX: Final = 5_000


class NoPressError(RingtellError):
    """The address answers, but offers no injection moulding machine, or not the one asked for."""

    code, status, title = "no_press", 404, "No such press at this address"


class Child(NamedTuple):
    """A node below another: namespace URI and browse name."""

    uri: str
    name: str
    node: Node
    node_class: ua.NodeClass
    type_id: ua.NodeId | None
    qualified: ua.QualifiedName


class Space:
    """The address space of one session, browsed by name."""

    def __init__(self, client: Client, namespaces: Sequence[str]) -> None:
        self.client = client
        self._namespaces = tuple(namespaces)
        self._parents: dict[ua.NodeId, Child | None] = {}

    @classmethod
    async def of(cls, client: Client) -> "Space":
        return cls(client, await client.get_namespace_array())

    def uri(self, index: int) -> str:
        return self._namespaces[index] if 0 <= index < len(self._namespaces) else ""

    async def children(
        self, node: Node, *, references: int = ua.ObjectIds.HierarchicalReferences
    ) -> list[Child]:
        found = await node.get_references(refs=references, direction=ua.BrowseDirection.Forward)
        return [self._child(one) for one in found]

    async def at(self, node: Node, *path: str) -> Node | None:
        """Down standard names only; None where a step is missing."""
        for step in path:
            below = [c for c in await self.children(node) if c.name == step and c.uri in names.STANDARD]
            if not below:
                return None
            node = below[0].node
        return node

    async def chain(self, type_id: ua.NodeId | None) -> list[Child]:
        """A type and its supertypes, nearest first, without the base of all."""
        chain: list[Child] = []
        while type_id is not None and len(chain) < 30:
            if type_id not in self._parents:
                self._parents[type_id] = await self._described(type_id)
            child = self._parents[type_id]
            if child is None:
                break
            chain.append(child)
            above = await child.node.get_references(
                refs=ua.ObjectIds.HasSubtype, direction=ua.BrowseDirection.Inverse
            )
            type_id = self._child(above[0]).node.nodeid if above else None
        return chain

    async def subtypes(self, root: Node) -> list[Child]:
        """Every type below one, in the order they are met."""
        found: list[Child] = []
        waiting = [root]
        while waiting and len(found) < _SUBTYPES_MAX:
            below = await self.children(waiting.pop(), references=ua.ObjectIds.HasSubtype)
            found += below
            waiting += [child.node for child in below]
        return found

    async def _described(self, type_id: ua.NodeId) -> Child | None:
        node = self.client.get_node(type_id)
        try:
            qualified = await node.read_browse_name()
        except UaError:
            return None
        uri, name = self.uri(qualified.NamespaceIndex), qualified.Name or ""
        return Child(uri, name, node, ua.NodeClass.ObjectType, None, qualified)

    def _child(self, reference: Any) -> Child:
        qualified = reference.BrowseName
        return Child(
            self.uri(qualified.NamespaceIndex),
            qualified.Name or "",
            self.client.get_node(_plain_id(reference.NodeId)),
            reference.NodeClass,
            None if reference.TypeDefinition is None else _plain_id(reference.TypeDefinition),
            qualified,
        )


def _plain_id(given: ua.NodeId) -> ua.NodeId:
    """Of an expanded node id the part that names a node of this server."""
    return ua.NodeId(given.Identifier, given.NamespaceIndex, given.NodeIdType)


async def read_value(node: Node) -> Any:
    """The value, or None where it is missing or the press refuses."""
    try:
        value = await node.read_value()
    except UaError:
        return None
    return value.Text if isinstance(value, ua.LocalizedText) else value


async def declared_unit(space: Space, node: Node) -> Reading:
    """The unit written beside a variable, as a reading without value."""
    for child in await space.children(node, references=ua.ObjectIds.HasProperty):
        if child.name == "EngineeringUnits":
            return as_unit(await read_value(child.node))
    return Reading(None)


def as_unit(value: Any) -> Reading:
    """An EUInformation as a reading without value; -1 and an empty name are none given."""
    if not isinstance(value, ua.EUInformation):
        return Reading(None)
    shown = value.DisplayName.Text if isinstance(value.DisplayName, ua.LocalizedText) else None
    unit: Unit | None = unit_of(value.UnitId, shown)
    return Reading(None, unit, "" if unit else str(shown or ("" if value.UnitId < 1 else value.UnitId))[:40])
