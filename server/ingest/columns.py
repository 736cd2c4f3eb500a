"""A whole batch checked column by column: the fast path for rows with nothing wrong in them.

`read_columns` either takes every row or none: where a single value is not as it should be it
answers None, and the careful path of `rows` goes over the batch again and says what is wrong.
Both give the same shots; a test holds them equal.
"""

import functools
from collections.abc import Callable, Sequence
from typing import Any, Final

import msgspec

from server.contract import SHOT_COLUMNS, SHOT_DOCUMENTS, SHOT_NUMBERS, SHOT_TEXTS
from server.ingest.batch import ReadBatch, ReadShot
from server.ingest.bounds import RANGES, WRAPPED_HIGH, WRAPPED_LOW, WRAPPING, Units, convert
from server.ingest.documents import read_curve, read_extra, read_zones
from server.ingest.faults import RowFault
from server.ingest.labels import LABEL_FIELDS, Head, read_label
from server.ingest.rows import COUNTER_MAX, read_shot_text
from server.ingest.times import AHEAD_MS, EARLIEST_MS, LATEST_MS, read_time

#: The columns handed in, in this order.
FIELDS: Final = ("counter", "at", *LABEL_FIELDS, *SHOT_COLUMNS)
_AFTER_LABELS: Final = 2 + len(LABEL_FIELDS)
_AFTER_NUMBERS: Final = _AFTER_LABELS + len(SHOT_NUMBERS)
_AFTER_TEXTS: Final = _AFTER_NUMBERS + len(SHOT_TEXTS)
_SIZES: Final = [SHOT_NUMBERS.index(n) for n in ("shot_size_mm", "shot_size_cm3")]
_CUSHIONS: Final = [SHOT_NUMBERS.index(n) for n in ("cushion_mm", "cushion_cm3")]

Column = Sequence[Any]
#: What stands for an absent document or set-points in a column.
RAW_NONE: Final = msgspec.Raw()


class _NotPlainError(Exception):
    """Something for the careful path."""


def read_columns(
    columns: Sequence[Column], head: Head, received_ms: int, *, first_row: int = 0
) -> ReadBatch | None:
    """Shots of columns in the order of `FIELDS`; None where any row needs the careful path.

    Counters are whole numbers, `at` texts (or milliseconds), numbers floats; absent is None; set-points and
    documents are `msgspec.Raw`, empty where absent.
    """
    if not columns or not columns[0]:
        return ReadBatch(received=0, shots=[], rejected=[])
    try:
        return _read(columns, head, received_ms, first_row)
    except (_NotPlainError, RowFault, msgspec.DecodeError, UnicodeDecodeError):
        return None


def _read(columns: Sequence[Column], head: Head, received_ms: int, first_row: int) -> ReadBatch:
    counters = columns[0]
    if None in counters or None in columns[1]:
        raise _NotPlainError
    if min(counters) < 0 or max(counters) > COUNTER_MAX:
        raise _NotPlainError
    times = _times(columns[1])
    if max(times) > received_ms + AHEAD_MS:
        raise _NotPlainError
    count = len(counters)
    labels = _labels(columns[2:_AFTER_LABELS], count, head)
    numbers = [
        _numbers(name, column, head.units)
        for name, column in zip(SHOT_NUMBERS, columns[_AFTER_LABELS:_AFTER_NUMBERS], strict=True)
    ]
    _check_required(numbers, _SIZES)
    _check_required(numbers, _CUSHIONS)
    texts = [
        _texts(name, column, head.lot if name == "lot" else None)
        for name, column in zip(SHOT_TEXTS, columns[_AFTER_NUMBERS:_AFTER_TEXTS], strict=True)
    ]
    documents = [
        _documents(name, column, head.units)
        for name, column in zip(SHOT_DOCUMENTS, columns[_AFTER_TEXTS:], strict=True)
    ]
    values = zip(*numbers, *texts, *documents, strict=True)
    shots = list(map(ReadShot, range(first_row, first_row + count), labels, times, counters, values))
    return ReadBatch(received=count, shots=shots, rejected=[])


def _times(column: Column) -> list[int]:
    if type(column[0]) is not int:
        return list(map(read_time, column))
    # Tables have read their own clocks already.
    if min(column) < EARLIEST_MS or max(column) >= LATEST_MS:
        raise _NotPlainError
    return list(column)


def _is_empty(column: Column) -> bool:
    first = column[0]
    return (first is None or first is RAW_NONE) and column.count(first) == len(column)


def _labels(columns: Sequence[Column], count: int, head: Head) -> list[Any]:
    if all(map(_is_empty, columns)):
        return [read_label({}, head.label)] * count
    setpoints = [bytes(raw) for raw in columns[-1]]
    known: dict[tuple[Any, ...], Any] = {}
    same = {head.label: head.label}
    labels = []
    for named in zip(*columns[:-1], setpoints, strict=True):
        label = known.get(named)
        if label is None:
            fields = dict(zip(LABEL_FIELDS, named, strict=True))
            fields["setpoints"] = msgspec.json.decode(named[-1]) if named[-1] else None
            label = read_label(fields, head.label)
            label = known[named] = same.setdefault(label, label)
        labels.append(label)
    return labels


def _numbers(name: str, column: Column, units: Units) -> Column:
    if _is_empty(column):
        return column
    full = None not in column
    present = column if full else [v for v in column if v is not None]
    low, high = min(present), max(present)
    if name in WRAPPING and high >= WRAPPED_LOW and low <= WRAPPED_HIGH:
        raise _NotPlainError
    conversion = units.conversions.get(name)
    if conversion is not None:
        column = [None if v is None else convert(v, conversion) for v in column]
        low, high = convert(low, conversion), convert(high, conversion)
    elif low <= 0.0 <= high:
        column = [None if v is None else v + 0.0 for v in column]
    lowest, highest, _ = RANGES[name]
    if not (lowest <= low and high <= highest):
        raise _NotPlainError
    return column


def _check_required(numbers: Sequence[Column], alternatives: Sequence[int]) -> None:
    first, second = (numbers[i] for i in alternatives)
    if None not in first or None not in second:
        return
    if any(a is None and b is None for a, b in zip(first, second, strict=True)):
        raise _NotPlainError


def _texts(name: str, column: Column, otherwise: str | None) -> Column:
    if _is_empty(column):
        return column if otherwise is None else [otherwise] * len(column)
    read = {sent: read_shot_text(name, sent) or otherwise for sent in set(column)}
    return [read[sent] for sent in column]


def _documents(name: str, column: Column, units: Units) -> Column:
    if _is_empty(column):
        return [None] * len(column)
    read = _reader(name, units)
    return [read(msgspec.json.decode(raw)) if bytes(raw) else None for raw in column]


def _reader(name: str, units: Units) -> Callable[[Any], str | None]:
    if name == "zone_temps_c":
        return functools.partial(read_zones, conversion=units.of(name))
    if name == "curve":
        return functools.partial(read_curve, units=units)
    return functools.partial(read_extra, more={})
