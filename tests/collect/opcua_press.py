"""A press that speaks OPC UA, built in code with the standard's namespace URIs and browse names.

`Standard` makes the types the standard defines: written out here, or imported from the published
nodesets where they lie beside the project. `PressServer` derives a vendor's own types from them, sets
up machines, and tells of cycles as events. Its namespaces stand in an unusual order, and its node ids
are its own: whoever looks for fixed ones finds nothing.
"""

import asyncio
import copy
import dataclasses
import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from asyncua import Node, Server, ua
from asyncua.common.events import Event
from asyncua.server.history import HistoryStorageInterface

from server.clock import as_datetime
from server.collect.opcua_names import DI, GENERAL, IMM
from server.collect.opcua_units import unit_id
from server.valve.press_model import PressModel
from server.valve.press_sim import shot_times, simulate

VENDOR = "urn:press.example:imm"
NODESETS = Path(__file__).resolve().parents[3] / "shared" / "reference" / "opcua"
SCREW_MM = 45.0
AREA_MM2 = math.pi / 4.0 * SCREW_MM**2

#: Quantity → (unit code, shown name, factor from the stored unit, offset) as a press of each world reports.
METRIC = {
    "volume": ("CMQ", "cm³", 1.0, 0.0), "length": ("MMT", "mm", 1.0, 0.0),
    "pressure": ("BAR", "bar", 1.0, 0.0), "temperature": ("CEL", "°C", 1.0, 0.0),
    "speed": ("C16", "mm/s", 1.0, 0.0), "turns": ("RPM", "r/min", 1.0, 0.0),
}  # fmt: skip
US = {
    "volume": ("INQ", "in³", 1.0 / 16.387064, 0.0), "length": ("INH", "in", 1.0 / 25.4, 0.0),
    "pressure": ("PS", "lbf/in²", 14.503773773, 0.0), "temperature": ("FAH", "°F", 1.8, 32.0),
    "speed": ("IU", "in/s", 1.0 / 25.4, 0.0), "turns": ("RPM", "r/min", 1.0, 0.0),
}  # fmt: skip

#: Browse name → quantity of what this press measures, beside its durations.
MEASURED = {
    "PlastificationVolume": "volume", "CushionVolume": "volume", "CushionStroke": "length",
    "VPChangeOverPosition": "length", "SpecificPressureMaximum": "pressure",
    "TransferSpecificPressure": "pressure", "HoldSpecificPressureAverage": "pressure",
    "HydraulicPressureMaximum": "pressure", "BackPressure": "pressure",
    "PlastificationRotationalSpeedAverage": "turns",
}  # fmt: skip
FIVE = ("PlastificationVolume", "CushionVolume", "SpecificPressureMaximum")
_FLAT: dict[str, ua.VariantType] = {
    "JobCycleCounter": ua.VariantType.UInt64, "MachineCycleCounter": ua.VariantType.UInt64,
    "CycleTime": ua.VariantType.Double, "CycleQuality": ua.VariantType.Int32,
    "JobName": ua.VariantType.String, "CurrentLotName": ua.VariantType.String,
    "JobStatus": ua.VariantType.Int32, "PartId": ua.VariantType.String,
}  # fmt: skip


@dataclasses.dataclass
class Standard:
    """Where the types of the standard are in this server."""

    device_set: Node
    event_type: Node
    unit_type: Node
    zone_type: Node
    machine_type: Node
    real: bool


async def written_out(server: Server) -> Standard:
    """The types with the names of the standard, written out: enough of them for cycles."""
    await server.register_namespace("urn:press.example:first")
    imm = await server.register_namespace(IMM)
    await server.register_namespace("urn:press.example:between")
    di = await server.register_namespace(DI)
    general = await server.register_namespace(GENERAL)
    base = server.nodes.base_object_type
    events = server.get_node(ua.NodeId(ua.Int32(ua.ObjectIds.BaseEventType)))
    event_type = await events.add_object_type(general, "CycleParametersEventType")
    await _abstract(event_type)
    for name, kind in _FLAT.items():
        nothing: Any = "" if kind == ua.VariantType.String else 0.0 if kind == ua.VariantType.Double else 0
        await event_type.add_property(general, name, nothing, kind)
    unit_type = await base.add_object_type(imm, "InjectionUnitCycleParametersType")
    zone_type = await base.add_object_type(general, "TemperatureZoneCycleParametersType")
    machine_type = await base.add_object_type(imm, "IMM_MES_InterfaceType")
    device_set = await server.nodes.objects.add_object(di, "DeviceSet")
    return Standard(device_set, event_type, unit_type, zone_type, machine_type, real=False)


async def published(server: Server) -> Standard:
    """The types out of the published nodesets; skipped with the reason where they do not lie there."""
    parts = ("Di", "PlasticsRubber.GeneralTypes", "PlasticsRubber.IMM2MES")
    files = [NODESETS / f"Opc.Ua.{part}.NodeSet2.xml" for part in parts]
    if not all(file.is_file() for file in files):
        pytest.skip("the nodesets of OPC 40077 are not in ../shared/reference/opcua")
    for file in files:
        await server.import_xml(str(file))
    imm, general, di = [await server.get_namespace_index(uri) for uri in (IMM, GENERAL, DI)]

    def node(number: int, index: int) -> Node:
        return server.get_node(ua.NodeId(ua.Int32(number), ua.Int16(index)))

    types = (node(1038, general), node(1039, imm), node(1047, general), node(1007, imm))
    return Standard(node(5001, di), *types, real=True)


async def _abstract(node: Node) -> None:
    await node.write_attribute(ua.AttributeIds.IsAbstract, ua.DataValue(ua.Variant(True)))


def eu(code: str, shown: str) -> ua.EUInformation:
    return ua.EUInformation(
        NamespaceUri="http://www.opcfoundation.org/UA/units/un/cefact",
        UnitId=ua.Int32(unit_id(code) if code else -1),
        DisplayName=ua.LocalizedText(shown),
    )


class Archive(HistoryStorageInterface):
    """Events as the press keeps them; pages as the caller asks for."""

    def __init__(self) -> None:
        self.kept: dict[ua.NodeId, list[Any]] = {}

    async def init(self) -> None: ...
    async def stop(self) -> None: ...
    async def new_historized_node(self, *_: Any, **__: Any) -> None: ...
    async def save_node_value(self, *_: Any) -> None: ...
    async def read_node_history(self, *_: Any) -> Any: ...
    async def new_historized_event(self, *_: Any, **__: Any) -> None: ...
    async def save_event(self, event: Any) -> None: ...

    async def read_event_history(
        self,
        source_id: ua.NodeId,
        start: dt.datetime | None,
        end: dt.datetime | None,
        nb_values: int,
        evfilter: Any,
    ) -> tuple[list[Any], dt.datetime | None]:
        assert start is not None
        assert end is not None
        within = [one for one in self.kept.get(source_id, []) if start <= one.Time <= end]
        if nb_values and len(within) > nb_values:
            return within[:nb_values], within[nb_values].Time
        return within, None


@dataclasses.dataclass
class SimMachine:
    """A machine of the server. `fire` tells of one cycle."""

    node: Node
    generator: Any
    server: "PressServer"
    serial: str
    mold: Node
    units: Mapping[str, tuple[str, str, float, float]]
    measured: Mapping[str, str]
    machine_counter: bool
    fired: int = 0

    async def fire(self, shot: Mapping[str, Any], *, silent: bool = False, **flat: Any) -> None:
        """Tell of a cycle; silent: nobody hears it, though the history keeps it where there is one."""
        event = self.generator.event
        event.Time = as_datetime(int(shot["at_ms"]))
        event.ReceiveTime = event.Time
        counter = int(shot["counter"])
        values: dict[str, Any] = {
            "JobCycleCounter": counter, "MachineCycleCounter": counter if self.machine_counter else None,
            "CycleTime": 1000.0 * float(shot["cycle_time_s"]), "CycleQuality": 0, "JobName": "JOB-1",
            "CurrentLotName": "LOT-A", "JobStatus": 6, "PartId": None, **flat,
        }  # fmt: skip
        for name, value in values.items():
            kind = ua.VariantType.Null if value is None else _FLAT[name]
            event.add_property(name, value, kind)
        for path, value in self._nested(shot).items():
            event.add_variable(path, value, ua.VariantType.Null if value is None else ua.VariantType.Double)
        self.fired += 1
        if self.node.nodeid in self.server.archive.kept:
            self.server.archive.kept[self.node.nodeid].append(copy.copy(event))
        if not silent:
            await self.server.trigger(event)

    def _nested(self, shot: Mapping[str, Any]) -> dict[str, float | None]:
        stored = in_stored_units(shot)
        unit = "InjectionUnitCycleParameters_1/"
        values: dict[str, float | None] = {
            f"{unit}InjectionTime": 1000.0 * float(shot["fill_time_s"]),
            f"{unit}DosingTime": 1000.0 * float(shot["recovery_time_s"]),
        }
        for name, quantity in self.measured.items():
            _, _, factor, offset = self.units[quantity]
            value = shot.get(name, stored.get(name))
            values[unit + name] = None if value is None else factor * float(value) + offset
        _, _, factor, offset = self.units["temperature"]
        for zone, temperature in enumerate((205.0, 215.0, 225.5), start=1):
            path = f"{unit}BarrelTemperatureZoneCycleParameters_{zone}/ActualTemperature"
            values[path] = factor * temperature + offset
        return values


def in_stored_units(shot: Mapping[str, Any]) -> dict[str, float]:
    """What this press measures of a simulated shot, in stored units."""
    return {
        "PlastificationVolume": float(shot["shot_size_mm"]) * AREA_MM2 / 1000.0,
        "CushionVolume": float(shot["cushion_mm"]) * AREA_MM2 / 1000.0,
        "CushionStroke": float(shot["cushion_mm"]),
        "VPChangeOverPosition": float(shot["transfer_position_mm"]),
        "SpecificPressureMaximum": float(shot["peak_pressure_bar"]),
        "TransferSpecificPressure": float(shot["transfer_pressure_bar"]),
        "HoldSpecificPressureAverage": float(shot["hold_pressure_bar"]),
        "BackPressure": 80.0,
    }


class PressServer:
    """A server with machines, on a port of this machine."""

    def __init__(self, port: int, *, standard: Any = written_out, event_units: bool = True) -> None:
        self.url = f"opc.tcp://127.0.0.1:{port}/press"
        self.archive = Archive()
        self._standard = standard
        self._event_units = event_units
        self._started = False
        self.ready = False
        self.server = Server()

    async def start(self) -> None:
        # A server made ready before, with its own security, stays as it is.
        if not self.ready:
            await self.server.init()
        self.server.set_endpoint(self.url)
        self.server.iserver.history_manager.set_storage(self.archive)
        self.standard: Standard = await self._standard(self.server)
        self.vendor = await self.server.register_namespace(VENDOR)
        await self.server.start()
        self._started = True

    async def stop(self) -> None:
        if self._started:
            await self.server.stop()
            self._started = False

    async def __aenter__(self) -> "PressServer":
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    async def trigger(self, event: Event) -> None:
        await self.server.iserver.isession.subscription_service.trigger_event(event)

    async def vendor_types(
        self, units: Mapping[str, tuple[str, str, float, float]], measured: Mapping[str, str], name: str
    ) -> Node:
        """The vendor's own event type: objects in its namespace, values with the standard's names."""
        event_type = await self.standard.event_type.add_object_type(self.vendor, name)
        imm = await self.server.get_namespace_index(IMM)
        general = await self.server.get_namespace_index(GENERAL)
        unit = await event_type.add_object(self.vendor, "InjectionUnitCycleParameters_1")
        for field, quantity in measured.items():
            await self._analog(unit, imm, field, units.get(quantity))
        for field in ("InjectionTime", "DosingTime"):
            await self._analog(unit, imm, field, None)
        for zone in (1, 2, 3):
            below = await unit.add_object(self.vendor, f"BarrelTemperatureZoneCycleParameters_{zone}")
            await self._analog(below, general, "ActualTemperature", units["temperature"])
        return event_type

    async def _analog(
        self, parent: Node, index: int, name: str, unit: tuple[str, str, float, float] | None
    ) -> None:
        variable = await parent.add_variable(index, name, 0.0, ua.VariantType.Double)
        if unit is not None:
            await variable.add_property(0, "EngineeringUnits", eu(unit[0], unit[1]))

    async def add_machine(
        self,
        name: str,
        *,
        serial: str = "SN-1",
        mold: str = "M-113",
        units: Mapping[str, tuple[str, str, float, float]] = METRIC,
        measured: Mapping[str, str] = MEASURED,
        history: bool = False,
        machine_counter: bool = True,
        event_type: Node | None = None,
    ) -> SimMachine:
        """A machine in DeviceSet with its identity, job, mold and screw."""
        if event_type is None:
            event_type = await self.vendor_types(units, measured, f"CycleOf{name}EventType")
        if self.standard.real:
            node = await self.standard.device_set.add_object(
                self.vendor, name, objecttype=self.standard.machine_type.nodeid, instantiate_optional=False
            )
        else:
            node = await self.standard.device_set.add_object(
                ua.NodeId(ua.String(f"machine {name}"), ua.Int16(self.vendor)),
                ua.QualifiedName(name, ua.UInt16(self.vendor)),
                objecttype=self.standard.machine_type.nodeid,
            )
        imm = await self.server.get_namespace_index(IMM)
        general = await self.server.get_namespace_index(GENERAL)
        di = await self.server.get_namespace_index(DI)
        await self._put(node, ((imm, "MachineInformation"), (di, "SerialNumber")), serial)
        maker = ua.LocalizedText("Example Machines")
        await self._put(node, ((imm, "MachineInformation"), (di, "Manufacturer")), maker)
        job = ((imm, "Jobs"), (general, "ActiveJob"))
        mold_node = await self._put(node, (*job, (general, "MouldId")), mold)
        await self._put(node, (*job, (general, "Material")), ["PP-DEMO"])
        await self._put(node, (*job, (general, "ProductionDatasetName")), "SET-2")
        screw = ((imm, "InjectionUnits"), (self.vendor, "InjectionUnit_1"))
        await self._put(node, (*screw, (imm, "ScrewId")), "SCREW-9")
        diameter = await self._put(node, (*screw, (imm, "ScrewDiameter")), SCREW_MM)
        await diameter.add_property(0, "EngineeringUnits", eu("MMT", "mm"))
        generator = await self.server.get_event_generator(event_type.nodeid, node.nodeid)
        self._declare_units(generator.event, units, measured)
        if history:
            self.archive.kept[node.nodeid] = []
            await node.set_event_notifier([ua.EventNotifier.SubscribeToEvents, ua.EventNotifier.HistoryRead])
        return SimMachine(node, generator, self, serial, mold_node, units, measured, machine_counter)

    def _declare_units(
        self, event: Any, units: Mapping[str, tuple[str, str, float, float]], measured: Mapping[str, str]
    ) -> None:
        if not self._event_units:
            return
        unit = "InjectionUnitCycleParameters_1/"
        paths = {unit + name: quantity for name, quantity in measured.items()}
        for zone in (1, 2, 3):
            paths[f"{unit}BarrelTemperatureZoneCycleParameters_{zone}/ActualTemperature"] = "temperature"
        for path, quantity in paths.items():
            if quantity in units:
                shown = eu(units[quantity][0], units[quantity][1])
                event.add_property(f"{path}/EngineeringUnits", shown, ua.VariantType.ExtensionObject)

    async def _put(self, node: Node, path: Sequence[tuple[int, str]], value: Any) -> Node:
        """A variable at a path below a node, with the objects on the way, made where they are missing."""
        for index, name in path[:-1]:
            node = await _child(node, index, name) or await node.add_object(index, name)
        index, name = path[-1]
        variable = await _child(node, index, name)
        if variable is None:
            return await node.add_variable(index, name, value)
        await variable.write_value(value)
        return variable


async def _child(node: Node, index: int, name: str) -> Node | None:
    for child in await node.get_children():
        if await child.read_browse_name() == ua.QualifiedName(name, ua.UInt16(index)):
            return child
    return None


def simulated_shots(count: int, *, seed: int = 1, start_ms: int | None = None) -> list[dict[str, Any]]:
    """Shots of the simulated press, ending about now so that no clock looks wrong."""
    from server.clock import now_ms

    model = PressModel()
    begin = now_ms() - int(count * 30_000) if start_ms is None else start_ms
    times = shot_times(count, model=model, start_ms=begin, seed=seed)
    columns = simulate(model, at_ms=times, seed=seed).columns
    return [{name: column[row].item() for name, column in columns.items()} for row in range(count)]


async def until(condition: Any, *, within_s: float = 20.0) -> None:
    """Wait for something to become true; an assertion when it does not."""
    for _ in range(int(within_s / 0.05)):
        if condition():
            return
        await asyncio.sleep(0.05)
    raise AssertionError(f"not within {within_s} s")


def pieces(shots: Sequence[Any], size: int) -> Iterator[Sequence[Any]]:
    for start in range(0, len(shots), size):
        yield shots[start : start + size]
