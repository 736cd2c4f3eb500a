"""The machines at an address: identity, readable variables, screw, and whether they keep events."""

import dataclasses

from asyncua import Node, ua
from asyncua.ua.uaerrors import UaError

from server.collect import opcua_names as names
from server.collect.opcua_space import Child, Space, declared_unit, read_value


@dataclasses.dataclass(frozen=True)
class Machine:
    """A press at an address. `variables`: the readable ones that are there, by `opcua_names.VARIABLES`."""

    name: str
    node: Node
    notifies: bool
    keeps_history: bool
    variables: dict[str, Node]
    facts: dict[str, str]
    screw_diameter_mm: float | None

    @property
    def serial(self) -> str:
        return self.facts.get("serial", "")


async def find_machines(space: Space) -> list[Machine]:
    """Every machine of the standard's type, below DeviceSet or, where there is none, below Objects."""
    objects = space.client.nodes.objects
    top = await space.children(objects)
    sets = [child.node for child in top if (child.uri, child.name) == names.DEVICE_SET]
    found = [await space.children(node) for node in sets]
    candidates = [child for below in found for child in below]
    if not sets:
        candidates = list(top)
        for child in top:
            if child.node_class == ua.NodeClass.Object and child.uri != names.UA:
                candidates += await space.children(child.node)
    return [await _machine(space, child) for child in candidates if await _is_machine(space, child)]


async def _is_machine(space: Space, child: Child) -> bool:
    if child.node_class != ua.NodeClass.Object:
        return False
    return any((one.uri, one.name) == names.MACHINE_TYPE for one in await space.chain(child.type_id))


async def _machine(space: Space, child: Child) -> Machine:
    notifier = await _event_notifier(child.node)
    variables = {}
    for label, path in names.VARIABLES.items():
        node = await space.at(child.node, *path)
        if node is not None:
            variables[label] = node
    if "mold" not in variables:
        mold = await _first_numbered(space, child.node, "Moulds", "Id")
        variables |= {} if mold is None else {"mold": mold}
    facts: dict[str, str] = {
        label: str(await read_value(variables[label]) or "")[:80]
        for label in ("serial", "manufacturer", "model") if label in variables
    }  # fmt: skip
    diameter = await _screw_diameter(space, child.node, facts)
    return Machine(
        name=child.name,
        node=child.node,
        notifies=bool(notifier & 1),
        keeps_history=bool(notifier & 4),
        variables=variables,
        facts={label: text for label, text in facts.items() if text},
        screw_diameter_mm=diameter,
    )


async def _event_notifier(node: Node) -> int:
    try:
        value = (await node.read_attribute(ua.AttributeIds.EventNotifier)).Value
    except UaError:
        return 0
    return value.Value if value is not None and isinstance(value.Value, int) else 0


async def _first_numbered(space: Space, machine: Node, folder: str, *path: str) -> Node | None:
    """Below the first numbered object of a folder, such as `Moulds/Mould_1/Id`."""
    below = await space.at(machine, folder)
    for child in await space.children(below) if below is not None else []:
        if child.node_class == ua.NodeClass.Object and "<" not in child.name:
            node = await space.at(child.node, *path)
            if node is not None:
                return node
    return None


async def _screw_diameter(space: Space, machine: Node, facts: dict[str, str]) -> float | None:
    for label, name in (("screw", "ScrewId"), ("barrel", "BarrelId")):
        node = await _first_numbered(space, machine, "InjectionUnits", name)
        facts[label] = str(await read_value(node) or "")[:80] if node is not None else ""
    node = await _first_numbered(space, machine, "InjectionUnits", "ScrewDiameter")
    value = await read_value(node) if node is not None else None
    if node is None or isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
        return None
    unit = (await declared_unit(space, node)).unit
    if unit is None or unit.quantity != "length":
        facts["screw_diameter"] = f"{value:g} without a unit of length"
        return None
    facts["screw_diameter"] = f"{unit.factor * value:.4g} mm"
    return float(unit.factor * value)
