"""Rows as files other programs open: CSV, XLSX and Parquet, written page by page to a file on disk."""

import csv
import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from server.clock import as_datetime, as_text
from server.errors import TooLargeError
from server.language import _
from server.lazily import Lazily
from server.show.api_tables import CSV, PARQUET, arrow_types, safe_cell, safe_in_csv
from server.words.units import STORED, Units

XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
MEDIA: Final = {"csv": f"{CSV}; charset=utf-8", "xlsx": XLSX, "parquet": PARQUET}
#: Rows a sheet holds, its header taken off.
SHEET_ROWS: Final = 1_048_575
#: Columns of objects made flat: their names may be anybody's. A sheet holds 16,384.
_COLUMNS_MAX: Final = 4_096

openpyxl, pa, pq = Lazily("openpyxl"), Lazily("pyarrow"), Lazily("pyarrow.parquet")

#: Quantity of a column by the end of its name, and how other units end theirs.
_QUANTITY_OF: Final = {"mm": "length", "bar": "pressure", "c": "temperature", "cm3": "volume"}
_ENDS: Final = {"degF": "f", "degC": "c"}

Page = Sequence[Sequence[Any]]


def write_file(path: Path, form: str, heads: Mapping[str, str], pages: Iterator[Page]) -> int:
    """All pages into one file; how many rows. heads: kind of each column by name (`time`: UTC ms).

    Raises TooLargeError where a sheet would not hold them.
    """
    return {"csv": _csv, "xlsx": _xlsx, "parquet": _parquet}[form](path, heads, pages)


def _csv(path: Path, heads: Mapping[str, str], pages: Iterator[Page]) -> int:
    kinds, count = list(heads.values()), 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([safe_in_csv(name) for name in heads])
        for page in pages:
            count += len(page)
            writer.writerows(
                [_written(cell, kind) for cell, kind in zip(row, kinds, strict=True)] for row in page
            )
    return count


def _written(cell: Any, kind: str) -> Any:
    return as_text(cell) if kind == "time" and cell is not None else safe_in_csv(cell)


def _xlsx(path: Path, heads: Mapping[str, str], pages: Iterator[Page]) -> int:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Ringtell")
    # A sheet knows no zones: the header says which one its times are in.
    named = (_("{name} (UTC)", name=name) if kind == "time" else name for name, kind in heads.items())
    sheet.append([_cell(name, "text") for name in named])
    kinds, count = list(heads.values()), 0
    for page in pages:
        count += len(page)
        if count > SHEET_ROWS:
            sheet.close()
            raise TooLargeError(
                _(
                    "a sheet holds {sheet_rows:,} rows and this is more; ask for a shorter stretch, for"
                    " CSV or for Parquet",
                    sheet_rows=SHEET_ROWS,
                ),
                field="format",
            )
        for row in page:
            sheet.append([_cell(cell, kind) for cell, kind in zip(row, kinds, strict=True)])
    book.save(path)
    return count


def _cell(cell: Any, kind: str) -> Any:
    if cell is None:
        return None
    if kind == "time":
        return as_datetime(cell).astimezone(dt.UTC).replace(tzinfo=None)
    if isinstance(cell, str):
        # What no sheet can hold: control characters, and more than a cell takes.
        signs = (sign if sign.isprintable() or sign == "\n" else "\ufffd" for sign in cell[:32_000])
        return safe_cell("".join(signs))
    return cell


def _parquet(path: Path, heads: Mapping[str, str], pages: Iterator[Page]) -> int:
    types = arrow_types()
    schema = pa.schema([(name, types[kind]) for name, kind in heads.items()])
    count = 0
    with pq.ParquetWriter(path, schema) as writer:
        for page in pages:
            count += len(page)
            columns = zip(*page, strict=True)
            arrays = [
                pa.array([int(one) if isinstance(one, bool) else one for one in column], type=field.type)
                for column, field in zip(columns, schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
    return count


def flattened(items: Sequence[Mapping[str, Any]]) -> tuple[dict[str, str], list[list[Any]]]:
    """Objects of the API as heads and rows: pairs of numbers become `name_low` and `name_high`, objects
    `name_part`; longer lists are left out.

    >>> flattened([{"press": "P07", "ppk": 1.5, "ppk_interval": [1.4, 1.6], "n": {"mean": 3}}])
    ({'press': 'text', 'ppk': 'number', 'ppk_interval_low': 'number', 'ppk_interval_high': 'number', \
'n_mean': 'whole'}, [['P07', 1.5, 1.4, 1.6, 3]])
    """
    flat = [dict(_flat("", item)) for item in items]
    names = list(dict.fromkeys(name for one in flat for name in one))
    if len(names) > _COLUMNS_MAX:
        raise TooLargeError(
            _(
                "{names:,} columns, and a table here takes {columns_max:,} at most",
                names=len(names),
                columns_max=_COLUMNS_MAX,
            )
        )
    heads = {name: _kind([one.get(name) for one in flat]) for name in names}
    rows = [[_as(one.get(name), heads[name]) for name in names] for one in flat]
    return heads, rows


def _flat(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _flat(f"{name}_{key}" if name else str(key), inner)
    elif isinstance(value, list | tuple):
        if len(value) == 2 and not any(isinstance(one, list | Mapping | str) for one in value):
            yield f"{name}_low", value[0]
            yield f"{name}_high", value[1]
    else:
        yield name, value


def _kind(values: Sequence[Any]) -> str:
    known = [one for one in values if one is not None]
    if known and all(isinstance(one, int) for one in known):
        return "whole"
    return "number" if known and all(isinstance(one, int | float) for one in known) else "text"


def _as(value: Any, kind: str) -> Any:
    if value is None or kind == "whole":
        return value
    return float(value) if kind == "number" else str(value)


def in_units(
    heads: Mapping[str, str], pages: Iterator[Page], units: Units
) -> tuple[dict[str, str], Iterator[Page]]:
    """The same rows in other units: numbers turned, the end of their column's name with them.

    >>> kept = {"press": "text", "cushion_mm": "number"}
    >>> heads, pages = in_units(kept, iter([[("E07", 25.4)]]), Units(length="in"))
    >>> heads, list(pages)
    ({'press': 'text', 'cushion_in': 'number'}, [[['E07', 1.0]]])
    """
    turned = [_turned(name, kind, units) for name, kind in heads.items()]
    named = {new: kind for (new, _quantity), kind in zip(turned, heads.values(), strict=True)}

    def rows() -> Iterator[Page]:
        for page in pages:
            yield [
                [
                    cell if not quantity or cell is None else float(f"{units.shown(quantity, cell):.9g}")
                    for cell, (_name, quantity) in zip(row, turned, strict=True)
                ]
                for row in page
            ]

    return named, rows()


def _turned(name: str, kind: str, units: Units) -> tuple[str, str]:
    """The column in the shown unit, and its quantity ('' where nothing changes)."""
    stem, line, end = name.rpartition("_")
    quantity = _QUANTITY_OF.get(end, "") if kind == "number" and line else ""
    if not quantity or units.unit(quantity) == getattr(STORED, quantity):
        return name, ""
    return f"{stem}_{_ENDS.get(units.unit(quantity), units.unit(quantity).lower())}", quantity
