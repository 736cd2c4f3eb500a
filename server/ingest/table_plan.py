"""How a file is to be read: what people choose, checked before the first row is."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

from server.contract import SHOT_COLUMNS, SHOT_NUMBERS
from server.errors import InvalidError
from server.ingest.bounds import Units
from server.ingest.faults import shown
from server.ingest.labels import LABEL_FIELDS, Head, read_head
from server.ingest.table_cells import EXTRA, ZONE
from server.ingest.table_text import ENCODINGS
from server.language import N_
from server.tabular.local_time import ORDERS, Order
from server.tabular.report_files import Token, read_getid
from server.tabular.units import ALL, conversion, quantity_of

FIELDS: Final = frozenset({"counter", "at", *LABEL_FIELDS, *SHOT_COLUMNS})
_NOTHING: Final[Mapping[str, str]] = {}
_ZONES_MAX: Final = 64
Cavities = Literal["keep", "sum"]


@dataclasses.dataclass(frozen=True)
class Plan:
    """What a file does not say itself.

    mapping: field of each column (`extra.NAME` and `zone_temps_c.N` too). units: by quantity for the
    whole file; column_units: by column, going before it. defaults: press, mold, material, lot, setup
    where a row names none. cavities `sum`: rows that repeat counter and time become one shot, their
    part weights added up. unwrap: small negatives kept as unsigned numbers are taken as what they are.
    only_press: rows of another press are kept apart. getid: the text of a report's GETID file.
    """

    mapping: Mapping[str, str] = dataclasses.field(default_factory=dict)
    units: Mapping[str, str] = dataclasses.field(default_factory=dict)
    column_units: Mapping[str, str] = dataclasses.field(default_factory=dict)
    defaults: Mapping[str, str] = dataclasses.field(default_factory=dict)
    time_zone: str | None = None
    time_format: str | None = None
    date_order: Order | None = None
    sheet: str | None = None
    decimal_comma: bool | None = None
    encoding: str | None = None
    delimiter: str | None = None
    unwrap: bool = False
    cavities: Cavities = "keep"
    only_press: str | None = None
    getid: str = ""

    def check(self) -> None:
        """Raise `InvalidError` on the first thing that can be nothing."""
        for column, field in self.mapping.items():
            if not is_target(field):
                raise InvalidError(
                    N_(
                        "column {column} is mapped to {field}, which is no field of a shot; known are"
                        " {join}, extra.NAME and zone_temps_c.1",
                        column=shown(column),
                        field=shown(field),
                        join=", ".join(sorted(FIELDS)),
                    ),
                    field="mapping",
                )
        for column, unit in self.column_units.items():
            if not any(unit in units for units in ALL.values()):
                known = ", ".join(sorted({name for units in ALL.values() for name in units}))
                raise InvalidError(
                    N_(
                        "column {column} is in {unit}; known units are {known}",
                        column=shown(column),
                        unit=shown(unit),
                        known=known,
                    ),
                    field="units",
                )
        for name, value, choices in (
            ("date_order", self.date_order, ORDERS),
            ("encoding", self.encoding, ENCODINGS),
            ("delimiter", self.delimiter, (",", ";", "\t", "|")),
            ("cavities", self.cavities, ("keep", "sum")),
        ):
            if value is not None and value not in choices:
                raise InvalidError(
                    N_(
                        "{name} is {value}; known are {join}",
                        name=name,
                        value=shown(value),
                        join=", ".join(choices),
                    ),
                    field=name,
                )

    def tokens(self) -> Mapping[str, Token]:
        return read_getid(self.getid) if self.getid else {}

    def head(self, fields: Mapping[str, str]) -> Head:
        """The labels and one conversion a field. `fields`: of each column read."""
        head = read_head(self.defaults, self.units)
        tokens = self.tokens()
        chosen = dict(head.units.conversions)
        names = dict(head.units.names)
        for column, field in fields.items():
            target = "zone_temps_c" if field.startswith(ZONE) else field
            token = tokens.get(column)
            stated = token.unit.name if token is not None and token.unit is not None else ""
            unit = self.column_units.get(column, "") or stated
            if not unit or not quantity_of(target):
                continue
            change = conversion(target, unit)
            if change is None:
                raise InvalidError(
                    N_(
                        "column {column} is in {unit}, which {target} cannot be",
                        column=shown(column),
                        unit=shown(unit),
                        target=target,
                    ),
                    field="units",
                )
            chosen[target] = change
            names[target] = unit
        same = {field: change for field, change in chosen.items() if change != (1.0, 0.0)}
        return head._replace(units=Units(tuple(sorted(names.items())), same))


def is_target(field: str) -> bool:
    """Whether a column may be read as `field`."""
    if field.startswith(ZONE):
        number = field.removeprefix(ZONE)
        return number.isascii() and number.isdigit() and 1 <= int(number) <= _ZONES_MAX
    return field in FIELDS or (field.startswith(EXTRA) and len(field) > len(EXTRA))


def plan_of(document: Mapping[str, Any]) -> Plan:
    """A plan from its JSON; an unknown name or a wrong kind of value is an `InvalidError`."""
    kinds: dict[str, Any] = {
        "mapping": Mapping, "units": Mapping, "column_units": Mapping, "defaults": Mapping,
        "decimal_comma": bool, "unwrap": bool,
    }  # fmt: skip
    known = {field.name for field in dataclasses.fields(Plan)}
    given: dict[str, Any] = {}
    for name, value in document.items():
        if name not in known:
            raise InvalidError(
                N_(
                    "{name} is no option of an import; known are {join}",
                    name=shown(name),
                    join=", ".join(sorted(known)),
                ),
                field=str(name),
            )
        if value is None or value == "":
            continue
        kind = kinds.get(name, str)
        if not isinstance(value, kind):
            raise InvalidError(
                N_(
                    "{name} is {value}; it has to be {called}",
                    name=name,
                    value=shown(value),
                    called=_called(kind),
                ),
                field=name,
            )
        given[name] = _texts(name, value) if kind is Mapping else value
    plan = Plan(**given)
    plan.check()
    return plan


def _texts(name: str, value: Mapping[Any, Any]) -> dict[str, str]:
    if not all(isinstance(key, str) and isinstance(one, str) for key, one in value.items()):
        raise InvalidError(N_("{name} has to be an object of texts", name=name), field=name)
    return {key: one for key, one in value.items() if one}


def _called(kind: Any) -> str:
    return {Mapping: "an object", bool: "true or false"}.get(kind, "text")


def document_of(plan: Plan) -> dict[str, Any]:
    """The plan as JSON, without what is left as it is."""
    usual = Plan()
    return {
        field.name: getattr(plan, field.name)
        for field in dataclasses.fields(Plan)
        if getattr(plan, field.name) != getattr(usual, field.name)
    }


def number_places(places: Sequence[tuple[int, str]]) -> list[int]:
    return [index for index, field in places if field in SHOT_NUMBERS or field.startswith((ZONE, EXTRA))]
