"""What a survey asks and flags, from the columns and the shots it read. Pure: nothing is opened here."""

import dataclasses
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import SHOT_NUMBERS
from server.ingest.batch import ReadShot, RejectedRow
from server.ingest.table_plan import Plan
from server.ingest.table_sources import Source
from server.maths.results import Undetermined
from server.tabular.local_time import OrderFound
from server.tabular.numbers import number_in
from server.valve.log_checks import (
    ConstantSum,
    Suspicion,
    constant_sum,
    repeated_cavities,
    two_counters,
    unit_suspicions,
    wrapped_suspicions,
)

Floats = NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class ColumnFound:
    """A column: what it is read as (empty: passed over), in which unit, how sure, and some of its cells."""

    name: str
    field: str
    unit: str
    sure: float
    why: str
    injected: bool
    cells: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Question:
    """What the file leaves open. `code` as in the words for imports; `about` a field or column."""

    code: str
    about: str = ""
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)


@dataclasses.dataclass(frozen=True)
class Flag:
    """What looks wrong and by what figure."""

    code: str
    field: str = ""
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)


def raw_numbers(
    places: Sequence[tuple[int, str]], rows: Sequence[Sequence[Any]], comma: bool
) -> dict[str, Floats]:
    """Columns of numbers as they stand, NaN where there is none."""
    raw: dict[str, Floats] = {}
    for index, field in places:
        if field in SHOT_NUMBERS:
            cells = (row[index] if index < len(row) else None for row in rows)
            raw[field] = np.array([_number(cell, comma) for cell in cells], dtype=np.float64)
    return raw


def _number(cell: Any, comma: bool) -> float:
    if isinstance(cell, str):
        found = number_in(cell, decimal_comma=comma)
        return np.nan if found is None else found
    return float(cell) if isinstance(cell, int | float) else np.nan


def questions_of(
    columns: Sequence[ColumnFound],
    plan: Plan,
    dates: OrderFound,
    shots: Sequence[ReadShot],
    presses: Counter[str],
    sums: Sequence[tuple[str, ConstantSum | Undetermined]],
    local: bool,
) -> Iterator[Question]:
    """What only a person can say. local: times were read that have no offset."""
    fields = {one.field for one in columns if one.field}
    for what, choices in (
        ("counter", {"counter"}),
        ("at", {"at"}),
        ("shot_size", {"shot_size_mm", "shot_size_cm3"}),
        ("cushion", {"cushion_mm", "cushion_cm3"}),
    ):
        if not choices & fields:
            yield Question("column", what)
    if "press" not in fields and not plan.defaults.get("press"):
        yield Question("press")
    if plan.time_zone is None and (local or (dates.read > 0 and not dates.has_offset)):
        yield Question("time_zone")
    if dates.ambiguous and plan.date_order is None and plan.time_format is None:
        yield Question("date_order")
    if len(presses) > 1 and plan.only_press is None:
        yield Question("presses", facts={"presses": dict(presses)})
    times = np.array([shot.at_ms for shot in shots]), np.array([shot.counter for shot in shots])
    if plan.cavities == "keep" and (repeated := repeated_cavities(*times)) > 0:
        yield Question("cavities", facts={"rows": repeated, "of": len(shots)})
    fields_of = {one.name: one.field for one in columns}
    for name, found in sums:
        if fields_of[name] and isinstance(found, ConstantSum) and found.injected is not False:
            yield Question("injected", name)


def flags_of(
    source: Source,
    columns: Sequence[ColumnFound],
    plan: Plan,
    shots: Sequence[ReadShot],
    start: Sequence[ReadShot],
    rejected: Sequence[RejectedRow],
    raw: Mapping[str, Floats],
) -> Iterator[Flag]:
    """What looks wrong; nothing here keeps an import from being stored."""
    for one in _suspicions(shots, raw, plan):
        rows = round(one.share * (len(shots) + len(rejected)))
        yield Flag(one.kind, one.field, {"value": one.value, "maybe": one.maybe, "rows": max(1, rows)})
    counts = Counter((row.field, row.code) for row in rejected)
    for (field, code), rows in counts.most_common(12):
        example = next(row.message for row in rejected if (row.field, row.code) == (field, code))
        yield Flag("rejected", field, {"code": code, "rows": rows, "example": example})
    keyed = sorted(start, key=lambda shot: (shot.at_ms, shot.counter))
    if len({shot.label.press for shot in start}) == 1:
        mixed = two_counters(
            np.array([shot.at_ms for shot in keyed]), np.array([shot.counter for shot in keyed])
        )
        if mixed is not None:
            yield Flag("two_counters", "counter", {"rows": mixed.rows, "of": mixed.of})
    if source.kind == "report" and not plan.tokens():
        yield Flag("no_getid")
    for column in columns:
        if column.field and 0.0 < column.sure < 0.85:
            yield Flag("unsure", column.field, {"column": column.name})


def _suspicions(shots: Sequence[ReadShot], raw: Mapping[str, Floats], plan: Plan) -> list[Suspicion]:
    stored = {
        name: np.array([shot.values[index] for shot in shots], dtype=np.float64)
        for index, name in enumerate(SHOT_NUMBERS)
    }
    found = unit_suspicions(stored)
    if not plan.unwrap:
        found += wrapped_suspicions(raw)
    return found


def sum_tests(
    columns: Sequence[ColumnFound], rows: Sequence[Sequence[Any]], comma: bool
) -> tuple[tuple[str, ConstantSum | Undetermined], ...]:
    """The constant-sum test of every column that is, or may be, the shot size."""

    def values(place: int) -> Floats:
        return np.array([_number(row[place] if place < len(row) else None, comma) for row in rows])

    cushions = {one.field: i for i, one in enumerate(columns) if one.field.startswith("cushion")}
    found = []
    for place, one in enumerate(columns):
        if not (one.field.startswith("shot_size") or one.injected) or not cushions:
            continue
        like = "cushion_mm" if one.field.endswith("_mm") else "cushion_cm3"
        cushion = cushions.get(like, next(iter(cushions.values())))
        same = columns[cushion].field.endswith(like[-4:]) and columns[cushion].unit == one.unit
        found.append((one.name, constant_sum(values(place), values(cushion), same_unit=same)))
    return tuple(found)
