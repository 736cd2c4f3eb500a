"""Asking a press for its cycle events, live and out of history, and reading what comes.

Presses differ in what they take: first every value is asked for with its unit, then, where that is
refused, values alone with the units the event types declare, then the same under the concrete type.
"""

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any, Final, Literal

from asyncua import Client, Node, ua
from asyncua.client.ua_session import UaSession
from asyncua.common.subscription import Subscription
from asyncua.ua.uaerrors import UaError

from server.clock import as_datetime
from server.collect.opcua_cycle import Key, Reading
from server.collect.opcua_events import Clause, EventLayout
from server.collect.opcua_space import as_unit

#: Publishing every half second; a keep-alive at least every ten, so that silence means trouble.
_PUBLISH_MS: Final = 500.0
_KEEP_ALIVE: Final = 20
_LIFETIME: Final = 240
SILENT_AFTER_S: Final = 45.0
QUEUE: Final = 1_000
#: Events of one answer out of history.
HISTORY_PAGE: Final = 500
_HISTORY_MOST: Final = 200_000

_BASE: Final = ("EventType", "SourceNode", "Time", "ReceiveTime")
Want = Literal["value", "unit"]


@dataclasses.dataclass(frozen=True)
class Plan:
    """A filter, and what each of its fields is."""

    filter: ua.EventFilter
    wanted: tuple[tuple[Key, Want, Clause | None], ...]


def plans(layout: EventLayout) -> Iterator[Plan]:
    """From the richest question to the plainest."""
    yield _plan(layout, units=True, concrete=False)
    yield _plan(layout, units=False, concrete=False)
    yield _plan(layout, units=False, concrete=True)


def _plan(layout: EventLayout, *, units: bool, concrete: bool) -> Plan:
    base = ua.NodeId(ua.Int32(ua.ObjectIds.BaseEventType))
    wanted: list[tuple[Key, Want, Clause | None]] = []
    operands = []
    for name in _BASE:
        wanted.append((Key("cycle", 0, 0, name), "value", None))
        operands.append(_operand((ua.QualifiedName(name, 0),), base))
    for clause in layout.clauses:
        type_id = clause.type_id if concrete else base
        wanted.append((clause.key, "value", clause))
        operands.append(_operand(clause.path, type_id))
        if units and clause.key.group != "cycle":
            wanted.append((clause.key, "unit", clause))
            operands.append(_operand((*clause.path, ua.QualifiedName("EngineeringUnits", 0)), type_id))
    asked = ua.EventFilter()
    asked.SelectClauses = operands
    return Plan(asked, tuple(wanted))


def _operand(path: Sequence[ua.QualifiedName], type_id: ua.NodeId) -> ua.SimpleAttributeOperand:
    operand = ua.SimpleAttributeOperand()
    operand.TypeDefinitionId = type_id
    operand.BrowsePath = list(path)
    operand.AttributeId = ua.AttributeIds.Value
    return operand


def readings_of(plan: Plan, fields: Sequence[Any]) -> dict[Key, Reading]:
    """Values with their units: the event's own, else the one its type declares."""
    values: dict[Key, Any] = {}
    units: dict[Key, Reading] = {}
    for (key, want, clause), field in zip(plan.wanted, fields, strict=False):
        value = _plain(field)
        if want == "value":
            values[key] = value
            if clause is not None:
                units.setdefault(key, clause.declared)
        elif isinstance(value, ua.EUInformation):
            units[key] = as_unit(value)
    return {
        key: Reading(value, units[key].unit, units[key].unit_name) if key in units else Reading(value)
        for key, value in values.items()
    }


def _plain(field: Any) -> Any:
    """The value of a variant; a status in its place means there is none."""
    value = field.Value if isinstance(field, ua.Variant) else field
    if isinstance(value, ua.StatusCode):
        return None
    if isinstance(value, ua.LocalizedText):
        return value.Text
    return value


async def open_subscription(client: Client, handler: Any) -> Subscription:
    parameters = ua.CreateSubscriptionParameters()
    parameters.RequestedPublishingInterval = ua.Double(_PUBLISH_MS)
    parameters.RequestedMaxKeepAliveCount = ua.UInt32(_KEEP_ALIVE)
    parameters.RequestedLifetimeCount = ua.UInt32(_LIFETIME)
    parameters.MaxNotificationsPerPublish = ua.UInt32(0)
    parameters.PublishingEnabled = True
    return await client.create_subscription(parameters, handler)


async def subscribe(subscription: Subscription, source: Node, layout: EventLayout) -> tuple[int, Plan]:
    """The handle of the events of a node, and the plan the press took. Raises the last refusal."""
    refusal: UaError | None = None
    for plan in plans(layout):
        try:
            handle = await subscription.subscribe_events(source, evfilter=plan.filter, queuesize=QUEUE)
        except UaError as error:
            refusal = error
        else:
            return handle, plan
    raise refusal or UaError("the press takes no event filter")


async def read_history(
    machine: Node, plan: Plan, *, from_ms: int, to_ms: int
) -> Iterator[dict[Key, Reading]]:
    """Events of a stretch of time, oldest first. Raises what the press answers."""
    details = ua.ReadEventDetails()
    details.StartTime, details.EndTime = as_datetime(from_ms), as_datetime(to_ms)
    details.NumValuesPerNode = ua.UInt32(HISTORY_PAGE)
    details.Filter = plan.filter
    found: list[dict[Key, Reading]] = []
    point = None
    while len(found) < _HISTORY_MOST:
        result = await _history_page(machine, details, point)
        result.StatusCode.check()
        events: list[Any] = list(getattr(result.HistoryData, "Events", None) or [])
        found += [readings_of(plan, one.EventFields) for one in events]
        point = result.ContinuationPoint
        if not point or not events:
            break
    return iter(found)


async def _history_page(
    machine: Node, details: ua.ReadEventDetails, point: bytes | None
) -> ua.HistoryReadResult:
    node = ua.HistoryReadValueId()
    node.NodeId = machine.nodeid
    node.IndexRange = ""
    node.ContinuationPoint = point
    parameters = ua.HistoryReadParameters()
    parameters.HistoryReadDetails = details
    parameters.TimestampsToReturn = ua.TimestampsToReturn.Both
    parameters.ReleaseContinuationPoints = False
    parameters.NodesToRead.append(node)
    session = machine.session
    if not isinstance(session, UaSession):
        raise UaError("history is read over a session")
    return (await session.history_read(parameters))[0]
