"""Studies being done: sheets with their readings, photos of what was found, limits of weights."""

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_press
from server.store.records import Study
from server.store.tables import presses, studies, study_photos, study_readings, study_sheets
from server.store.tables import weight_limits as limits


@dataclasses.dataclass(frozen=True)
class Sheet:
    """A study that is open, or was: `study_no` is what it became, `baseline_no` what it stands beside."""

    press_id: int
    sheet_no: int
    kind: str
    mold: str
    state: str
    opened_ms: int
    opened_by: str
    asked: Mapping[str, Any]
    closed_ms: int | None = None
    closed_by: str = ""
    study_no: int | None = None
    baseline_no: int | None = None


@dataclasses.dataclass(frozen=True)
class Reading:
    """One reading, or one pair of them; `mark` is the sender's own name for it."""

    press_id: int
    sheet_no: int
    reading_no: int
    series: str
    first: float
    second: float | None
    at_ms: int
    who: str
    source: str = ""
    mark: str | None = None
    withdrawn_ms: int | None = None
    withdrawn_by: str = ""


@dataclasses.dataclass(frozen=True)
class Photo:
    """A photo without its content."""

    press_id: int
    study_no: int
    photo_no: int
    caption: str
    width: int
    height: int
    bytes: int
    at_ms: int
    who: str


# --- sheets -------------------------------------------------------------------------------------


def add_sheet(connection: sa.Connection, sheet: Sheet) -> Sheet:
    """Keep a sheet under the press's next number."""
    number = next_of_press(connection, study_sheets.c.sheet_no, sheet.press_id)
    kept = dataclasses.replace(sheet, sheet_no=number)
    values = {**dataclasses.asdict(kept), "asked": json.dumps(dict(kept.asked), sort_keys=True)}
    connection.execute(sa.insert(study_sheets).values(**values))
    return kept


def change_sheet(connection: sa.Connection, sheet: Sheet, **changes: Any) -> Sheet:
    values = dict(changes)
    if "asked" in values:
        values["asked"] = json.dumps(dict(values["asked"]), sort_keys=True)
    connection.execute(
        sa.update(study_sheets)
        .where(study_sheets.c.press_id == sheet.press_id, study_sheets.c.sheet_no == sheet.sheet_no)
        .values(**values)
    )
    return dataclasses.replace(sheet, **changes)


def _sheet(row: Any) -> Sheet:
    return Sheet(**{**row._mapping, "asked": json.loads(row.asked)})


def sheet_by_no(connection: sa.Connection, press_id: int, sheet_no: int) -> Sheet | None:
    row = connection.execute(
        sa.select(study_sheets).where(
            study_sheets.c.press_id == press_id, study_sheets.c.sheet_no == sheet_no
        )
    ).one_or_none()
    return None if row is None else _sheet(row)


def sheets_of(
    connection: sa.Connection,
    press_id: int,
    *,
    state: str | None = None,
    kind: str | None = None,
    limit: int = 1_000,
) -> list[Sheet]:
    """The sheets of a press, the newest first."""
    query = sa.select(study_sheets).where(study_sheets.c.press_id == press_id)
    if state is not None:
        query = query.where(study_sheets.c.state == state)
    if kind is not None:
        query = query.where(study_sheets.c.kind == kind)
    newest = query.order_by(study_sheets.c.sheet_no.desc()).limit(limit)
    return [_sheet(row) for row in connection.execute(newest)]


def open_sheets(connection: sa.Connection, *, press: str | None = None) -> list[tuple[str, Sheet]]:
    """Every open sheet with the code of its press, the newest first."""
    query = (
        sa.select(presses.c.press, study_sheets)
        .join(presses, presses.c.press_id == study_sheets.c.press_id)
        .where(study_sheets.c.state == "open")
    )
    if press is not None:
        query = query.where(presses.c.press == press)
    order = (study_sheets.c.opened_ms.desc(), study_sheets.c.press_id, study_sheets.c.sheet_no)
    found = []
    for row in connection.execute(query.order_by(*order).limit(1_000)):
        values = dict(row._mapping)
        code = str(values.pop("press"))
        found.append((code, Sheet(**{**values, "asked": json.loads(values["asked"])})))
    return found


# --- readings -----------------------------------------------------------------------------------


def add_readings(connection: sa.Connection, readings: Sequence[Reading]) -> list[Reading]:
    """Keep readings of one sheet under its next numbers."""
    if not readings:
        return []
    first = readings[0]
    same_sheet = study_readings.c.sheet_no == first.sheet_no
    number = next_of_press(connection, study_readings.c.reading_no, first.press_id, same_sheet)
    kept = [dataclasses.replace(one, reading_no=number + i) for i, one in enumerate(readings)]
    connection.execute(sa.insert(study_readings), [dataclasses.asdict(one) for one in kept])
    return kept


def readings_of(connection: sa.Connection, press_id: int, sheet_no: int) -> list[Reading]:
    """Every reading of a sheet in order, those taken back included."""
    rows = connection.execute(
        sa.select(study_readings)
        .where(study_readings.c.press_id == press_id, study_readings.c.sheet_no == sheet_no)
        .order_by(study_readings.c.reading_no)
    )
    return [Reading(**row._mapping) for row in rows]


def withdraw_readings(
    connection: sa.Connection, press_id: int, sheet_no: int, numbers: Sequence[int], *, who: str, now_ms: int
) -> None:
    connection.execute(
        sa.update(study_readings)
        .where(
            study_readings.c.press_id == press_id,
            study_readings.c.sheet_no == sheet_no,
            study_readings.c.reading_no.in_(numbers),
        )
        .values(withdrawn_ms=now_ms, withdrawn_by=who)
    )


# --- studies and photos -------------------------------------------------------------------------


def study_by_no(connection: sa.Connection, press_id: int, study_no: int) -> Study | None:
    row = connection.execute(
        sa.select(studies).where(studies.c.press_id == press_id, studies.c.study_no == study_no)
    ).one_or_none()
    if row is None:
        return None
    return Study(**{**row._mapping, "asked": json.loads(row.asked), "result": json.loads(row.result)})


def add_photo(connection: sa.Connection, photo: Photo, *, content: bytes) -> Photo:
    """Keep a photo under its study's next number."""
    same_study = study_photos.c.study_no == photo.study_no
    number = next_of_press(connection, study_photos.c.photo_no, photo.press_id, same_study)
    kept = dataclasses.replace(photo, photo_no=number)
    connection.execute(sa.insert(study_photos).values(**dataclasses.asdict(kept), content=content))
    return kept


def photos_of(connection: sa.Connection, press_id: int, study_no: int | None = None) -> list[Photo]:
    """The photos of a study, or of every study of a press, in order, without their content."""
    query = sa.select(*(column for column in study_photos.c if column.name != "content")).where(
        study_photos.c.press_id == press_id
    )
    if study_no is not None:
        query = query.where(study_photos.c.study_no == study_no)
    order = (study_photos.c.study_no, study_photos.c.photo_no)
    return [Photo(**row._mapping) for row in connection.execute(query.order_by(*order))]


def photo_content(connection: sa.Connection, press_id: int, study_no: int, photo_no: int) -> bytes | None:
    found = connection.execute(
        sa.select(study_photos.c.content).where(
            study_photos.c.press_id == press_id,
            study_photos.c.study_no == study_no,
            study_photos.c.photo_no == photo_no,
        )
    ).scalar_one_or_none()
    return None if found is None else bytes(found)


def remove_photo(connection: sa.Connection, photo: Photo) -> None:
    connection.execute(
        sa.delete(study_photos).where(
            study_photos.c.press_id == photo.press_id,
            study_photos.c.study_no == photo.study_no,
            study_photos.c.photo_no == photo.photo_no,
        )
    )


# --- limits -------------------------------------------------------------------------------------


def weight_limits(connection: sa.Connection) -> dict[tuple[str, str], float]:
    """What the plant has set, by mold ('' for every one) and process class."""
    rows = connection.execute(sa.select(limits.c.mold, limits.c.process_class, limits.c.limit_pct))
    return {(row.mold, row.process_class): float(row.limit_pct) for row in rows}


def put_weight_limit(
    connection: sa.Connection,
    mold: str,
    process_class: str,
    limit_pct: float | None,
    *,
    who: str,
    now_ms: int,
) -> None:
    """Set a limit; None takes it back, and what holds for every mold holds again."""
    same = sa.and_(limits.c.mold == mold, limits.c.process_class == process_class)
    connection.execute(sa.delete(limits).where(same))
    if limit_pct is not None:
        connection.execute(
            sa.insert(limits).values(
                mold=mold, process_class=process_class, limit_pct=limit_pct, set_by=who, set_ms=now_ms
            )
        )
