"""One row checked field by field: the careful path, which finds what is wrong and says so."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, NamedTuple

from server.contract import QUALITIES, SHOT_COLUMNS, SHOT_NUMBERS, SHOT_TEXTS
from server.ingest.batch import ReadBatch, ReadShot, RejectedRow, shot_line
from server.ingest.bounds import Units, check_range, convert
from server.ingest.documents import read_curve, read_extra, read_number, read_zones
from server.ingest.faults import RowFault, named, shown
from server.ingest.labels import LABEL_FIELDS, Head, Label, read_label, read_text
from server.ingest.times import check_not_ahead, read_time
from server.language import N_

COUNTER_MAX: Final = (1 << 63) - 1
RAW_MAX: Final = 65_536
_KNOWN: Final = frozenset({"counter", "at", *LABEL_FIELDS, *SHOT_COLUMNS})
_HEAD_ONLY: Final = frozenset({"units", "shots"})


class Row(NamedTuple):
    """A row before it is checked: its fields, or the fault that kept them from being read."""

    #: Its text, or what gives it: only rows kept apart need it.
    raw: str | Callable[[], str]
    fields: Any
    fault: RowFault | None = None


def check_rows(rows: Iterable[Row], head: Head, received_ms: int) -> ReadBatch:
    """Each row on its own: stored or kept apart."""
    labels: dict[Label, Label] = {head.label: head.label}
    shots: list[ReadShot] = []
    rejected: list[RejectedRow] = []
    received = 0
    for number, row in enumerate(rows):
        received += 1
        try:
            if row.fault is not None:
                raise row.fault
            shot = check_row(row.fields, head, row=number)
        except RowFault as fault:
            rejected.append(_apart(number, row, fault, head))
            continue
        label = labels.setdefault(shot.label, shot.label)
        shot = shot._replace(label=label)
        try:
            check_not_ahead(shot.at_ms, received_ms)
        except RowFault as fault:
            rejected.append(_apart(number, row._replace(raw=shot_line(shot)), fault, head))
            continue
        shots.append(shot)
    return ReadBatch(received=received, shots=shots, rejected=rejected)


def _apart(number: int, row: Row, fault: RowFault, head: Head) -> RejectedRow:
    raw = (row.raw if isinstance(row.raw, str) else row.raw()).replace("\x00", "�")
    return RejectedRow(
        row=number,
        field=fault.field,
        code=fault.code,
        message=fault.message,
        raw=raw if fault.replayable or len(raw) <= RAW_MAX else raw[: RAW_MAX - 1] + "…",
        press=_press_of(row.fields, head),
        replayable=fault.replayable,
        at_ms=fault.at_ms,
    )


def _press_of(fields: Any, head: Head) -> str | None:
    try:
        named = read_text("press", fields.get("press")) if isinstance(fields, Mapping) else None
    except RowFault:
        return None
    return named or head.label.press or None


def check_row(fields: Any, head: Head, *, row: int = 0) -> ReadShot:
    """The shot of one JSON object. Raises the `RowFault` of the first thing wrong."""
    if not isinstance(fields, Mapping):
        raise RowFault(
            "", "not_an_object", N_("the row is {fields}; send an object with a shot", fields=shown(fields))
        )
    label = read_label(fields, head.label)
    counter = read_counter(fields.get("counter"))
    at_ms = _read_at(fields.get("at"))
    numbers = _read_numbers(fields, head.units)
    texts = _read_texts(fields, head.lot)
    documents = (
        read_zones(fields.get("zone_temps_c"), head.units.of("zone_temps_c")),
        read_curve(fields.get("curve"), head.units),
        read_extra(fields.get("extra"), _own_numbers(fields)),
    )
    return ReadShot(row, label, at_ms, counter, (*numbers, *texts, *documents))


def read_counter(value: Any) -> int:
    """The press's cycle counter: a whole number from 0 to 2⁶³ − 1; 12.0 is 12."""
    if value is None:
        raise RowFault("counter", "missing", N_("the shot has no counter; send the press's cycle counter"))
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise RowFault(
            "counter", "not_an_integer", N_("counter is {value}; send a whole number", value=shown(value))
        )
    if not 0 <= value <= COUNTER_MAX:
        size = shown(value) if abs(value) < 10**40 else "beyond 40 digits"
        raise RowFault(
            "counter",
            "out_of_range",
            N_("counter is {size}; it must lie from 0 to {counter_max}", size=size, counter_max=COUNTER_MAX),
        )
    return value


def _read_at(value: Any) -> int:
    if value is None or value == "":
        raise RowFault(
            "at", "missing", N_("the shot has no at; send the time its cycle ended, with an offset")
        )
    if not isinstance(value, str):
        raise RowFault(
            "at",
            "bad_time",
            N_("at is {value}; send text like 2026-04-01T06:00:00.000+02:00", value=shown(value)),
        )
    return read_time(value)


def _read_numbers(fields: Mapping[str, Any], units: Units) -> list[float | None]:
    numbers: dict[str, float | None] = dict.fromkeys(SHOT_NUMBERS)
    sent: dict[str, float] = {}
    for name, value in fields.items():
        if name in numbers and value is not None:
            sent[name] = read_number(name, value)
            numbers[name] = convert(sent[name], units.of(name))
    for name, number in sent.items():
        check_range(name, numbers[name] or 0.0, number, numbers["shot_size_cm3"])
    check_required(numbers)
    return list(numbers.values())


def check_required(numbers: Mapping[str, float | None]) -> None:
    """Shot size and cushion have to be there, as position or as volume."""
    for stem, what in (("shot_size", "where recovery stopped"), ("cushion", "what hold left over")):
        if numbers[f"{stem}_mm"] is None and numbers[f"{stem}_cm3"] is None:
            raise RowFault(
                f"{stem}_mm",
                "missing",
                N_("the shot has neither {stem}_mm nor {stem}_cm3; send one: {what}", stem=stem, what=what),
            )


def _read_texts(fields: Mapping[str, Any], lot: str | None) -> list[str | None]:
    texts = {name: read_shot_text(name, fields.get(name)) for name in SHOT_TEXTS}
    texts["lot"] = texts["lot"] or lot
    return list(texts.values())


def read_shot_text(field: str, value: Any) -> str | None:
    """A text column of a shot; `quality` is one of four words."""
    if field != "quality":
        return read_text(field, value)
    if value is None or value == "":
        return None
    if value not in QUALITIES:
        raise RowFault(
            field,
            "unknown_value",
            N_("quality is {value}; known are {join}", value=shown(value), join=", ".join(QUALITIES)),
        )
    return str(value)


def _own_numbers(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Numbers under names that are no field of a shot: they are kept as `extra`."""
    own: dict[str, Any] = {}
    for name, value in fields.items():
        if name in _KNOWN or value is None:
            continue
        if name in _HEAD_ONLY:
            raise RowFault(
                name,
                "unknown_field",
                N_("{name} stands once for the batch or in the query, not in a shot", name=name),
            )
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise RowFault(
                named(name),
                "unknown_field",
                N_(
                    "{name} is no field of a shot, and only numbers are kept under names of your own;"
                    " leave it out, or rename it to the field it means",
                    name=shown(name),
                ),
            )
        own[name] = value
    return own
