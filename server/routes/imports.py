"""Imports of files over HTTP: upload, look, store, follow, cancel, undo; and mappings by name."""

import csv
import dataclasses
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request
from fastapi import Path as PathParameter
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from server.access.actors import Permission
from server.contract import SHOT_COLUMNS
from server.errors import InvalidError, NotFoundError, TooLargeError
from server.import_jobs import ImportJobs
from server.ingest.batch import ReadShot
from server.ingest.survey import Survey, planned
from server.ingest.table_plan import document_of, plan_of
from server.language import N_
from server.maths.results import Undetermined
from server.record.fields import Given
from server.record.import_mappings import forget_mapping, save_mapping
from server.routes.calls import allow, cursor_text, objects_of, page_of, read_cursor, when, write
from server.show.api_tables import safe_in_csv
from server.store import imports
from server.words.importing import STATE, flag_text, lag_text, question_text, sum_text

router = APIRouter(prefix="/api/v1", tags=["imports"])

Number = Annotated[int, PathParameter(ge=0, lt=1 << 63)]
Limit = Annotated[int, Query(ge=1, le=10_000)]
Document = Annotated[Any, Body()]


def _jobs(request: Request) -> ImportJobs:
    found: ImportJobs = request.app.state.ringtell.imports
    return found


def _allow(request: Request, permission: Permission) -> str:
    return allow(request, permission).name


# --- the file -----------------------------------------------------------------------------------


@router.post("/imports", status_code=201)
async def post_import(request: Request, name: Annotated[str, Query(min_length=1, max_length=255)]) -> Any:
    """Bring a file (the body as it is; `name` ends in .csv, .tsv, .txt, .xlsx, .parquet or .dat)."""
    who = _allow(request, "ingest")
    jobs = _jobs(request)
    number, path = await run_in_threadpool(lambda: jobs.new_upload(name, who=who))
    try:
        size = await _receive(request, path)
    except BaseException as error:
        trouble = getattr(error, "message", "the upload broke off")
        await run_in_threadpool(lambda: jobs.forget_upload(number, trouble))
        raise
    one = await run_in_threadpool(lambda: jobs.uploaded(number, size))
    return _item(jobs, one)


async def _receive(request: Request, path: Path) -> int:
    """The body into a file, refused as soon as it is larger than the server takes."""
    limit = objects_of(request).settings.max_import_bytes
    size = 0
    with path.open("wb") as file:
        async for part in request.stream():
            size += len(part)
            if size > limit:
                raise TooLargeError(N_("the file is larger than {limit} bytes; split it", limit=limit))
            await run_in_threadpool(file.write, part)
    if size == 0:
        raise InvalidError(N_("the file is empty"), field="file")
    return size


@router.post("/imports/{number}/look")
def look(request: Request, number: Number, body: Document = None) -> Any:
    """What the file holds, read as the options in the body say (`{}`: as its names suggest)."""
    _allow(request, "ingest")
    jobs = _jobs(request)
    options = Given.of(body or {}, known=_OPTIONS).body
    found = jobs.look(number, options)
    with objects_of(request).store.read() as connection:
        saved = imports.all_mappings(connection)
    return {
        **_survey_item(found),
        "options": document_of(planned(found, plan_of(options))),
        "mappings": [
            {"name": one.name, "options": one.options, "fits": one.header_key == found.header_key}
            for one in saved
        ],
    }


_OPTIONS = frozenset(
    {
        "mapping", "units", "column_units", "defaults", "time_zone", "time_format", "date_order", "sheet",
        "decimal_comma", "encoding", "delimiter", "unwrap", "cavities", "only_press", "getid",
    }
)  # fmt: skip


def _survey_item(found: Survey) -> dict[str, Any]:
    lag = found.dose_lag
    return {
        "kind": found.kind,
        "encoding": found.encoding,
        "delimiter": found.delimiter,
        "sheets": found.sheets,
        "decimal_comma": found.decimal_comma,
        "date_order": found.dates.order,
        "has_offset": found.dates.has_offset,
        "rows_looked_at": found.rows_looked_at,
        "rows_total": found.rows_total,
        "from": when(found.first_ms),
        "to": when(found.last_ms),
        "presses": [{"press": press, "rows": rows} for press, rows in found.presses],
        "columns": [dataclasses.asdict(one) for one in found.columns],
        "questions": [
            {"code": one.code, "about": one.about, "text": question_text(one.code, one.about, one.facts)}
            for one in found.questions
        ],
        "flags": [
            {"code": one.code, "field": one.field, "text": flag_text(one.code, one.field, one.facts)}
            for one in found.flags
        ],
        "constant_sum": [{"column": name, "text": sum_text(name, one)} for name, one in found.sums],
        "dose_lag": None if isinstance(lag, Undetermined) else lag.lag,
        "dose_lag_text": lag_text(lag),
        "shots": [_shot_item(shot) for shot in found.shots],
        "rejected": [
            {
                "row": row.row,
                "field": row.field,
                "code": row.code,
                "message": row.message,
                "raw": row.raw[:300],
            }
            for row in found.rejected
        ],
    }


def _shot_item(shot: ReadShot) -> dict[str, Any]:
    """A row as it will be stored: only what it has."""
    named = {"press": shot.label.press, "mold": shot.label.mold, "material": shot.label.material}
    values = dict(zip(SHOT_COLUMNS, shot.values, strict=True))
    fields = {**named, "counter": shot.counter, "at": when(shot.at_ms), **values}
    return {name: value for name, value in fields.items() if value is not None and value != "?"}


# --- the import ---------------------------------------------------------------------------------


@router.get("/imports")
def get_imports(request: Request, limit: Limit = 100, cursor: str | None = None) -> Any:
    """The newest imports first."""
    _allow(request, "read")
    before = None if cursor is None else read_cursor(cursor, length=1)[0]
    with objects_of(request).store.read() as connection:
        found = imports.newest_imports(connection, limit=limit + 1, before=before)
    items = [_item(_jobs(request), one) for one in found[:limit]]
    more = len(found) > limit
    return page_of(items, cursor_text([found[limit - 1].import_no]) if more else None)


@router.get("/imports/{number}")
def get_import(request: Request, number: Number) -> Any:
    """How an import stands: `share` is how much of the file (or of its undoing) is through."""
    _allow(request, "read")
    one = _jobs(request).need(number)
    with objects_of(request).store.read() as connection:
        brought = imports.presses_of(connection, number)
        resting = imports.rests_on(connection, number)
    return {
        **_item(_jobs(request), one),
        "presses": [
            {"press": press, "shots": shots, "from": when(first), "to": when(last)}
            for press, shots, first, last in brought
        ],
        "rests": [dataclasses.asdict(one) for one in resting],
    }


def _item(jobs: ImportJobs, one: imports.Import) -> dict[str, Any]:
    return {
        "id": one.import_no,
        "file": one.file_name,
        "size": one.size,
        "state": one.state,
        "text": STATE[one.state],
        "share": jobs.share_of(one),
        **{name: getattr(one, name) for name in imports.COUNTS},
        "trouble": one.trouble,
        "who": one.who,
        "options": one.options,
        "created_at": when(one.created_ms),
        "started_at": when(one.started_ms),
        "ended_at": when(one.ended_ms),
        "undone_at": when(one.undone_ms),
        "undone_by": one.undone_by,
    }


@router.post("/imports/{number}/start", status_code=202)
def start(request: Request, number: Number, body: Document = None) -> Any:
    """Store the rows as the options say; follow it with `GET /imports/{id}`."""
    who = _allow(request, "ingest")
    options = Given.of(body or {}, known=_OPTIONS).body
    return _item(_jobs(request), _jobs(request).begin(number, options, who=who))


@router.post("/imports/{number}/cancel", status_code=202)
def cancel(request: Request, number: Number) -> Any:
    """Stop after the piece under way; what is stored stays until it is undone."""
    return _item(_jobs(request), _jobs(request).cancel(number, who=_allow(request, "ingest")))


@router.post("/imports/{number}/undo", status_code=202)
def undo(request: Request, number: Number, body: Document = None) -> Any:
    """Take back every shot it brought. `{"although_used": true}` where people decided on them."""
    who = _allow(request, "configure")
    given = Given.of(body or {}, known=("although_used",))
    one = _jobs(request).undo(number, who=who, although_used=given.flag("although_used"))
    return _item(_jobs(request), one)


@router.get("/imports/{number}/rejected")
def rejected(request: Request, number: Number) -> StreamingResponse:
    """The rows that were not taken, as CSV with the reason of each."""
    _allow(request, "read")
    one = _jobs(request).need(number)
    objects = objects_of(request)

    def lines() -> Iterator[str]:
        yield "row,field,code,reason,raw\r\n"
        after = -1
        while True:
            with objects.store.read() as connection:
                rows = imports.rejected_of(connection, one, now_ms=objects.now_ms(), after=after)
            if not rows:
                return
            yield _csv([(r["row_no"], r["field"], r["code"], r["message"], r["raw"]) for r in rows])
            after = rows[-1]["row_no"]

    name = f"import-{number}-rejected.csv"
    return StreamingResponse(
        lines(), media_type="text/csv", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _csv(rows: list[tuple[Any, ...]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows([safe_in_csv(cell) for cell in row] for row in rows)
    return text.getvalue()


# --- mappings -----------------------------------------------------------------------------------


@router.get("/import-mappings")
def get_mappings(request: Request) -> Any:
    """Mappings saved by name."""
    _allow(request, "read")
    with objects_of(request).store.read() as connection:
        found = imports.all_mappings(connection)
    return page_of([_mapping_item(one) for one in found], None)


@router.put("/import-mappings/{name}")
def put_mapping(request: Request, name: str, body: Document = None) -> Any:
    """Save `{"options": {…}, "columns": ["Cycle", …]}`; files with these columns are offered it."""
    who, now_ms = _allow(request, "ingest"), objects_of(request).now_ms()
    kept = write(request, lambda c: save_mapping(c, name, body, who=who, now_ms=now_ms, check=plan_of))
    return _mapping_item(kept)


@router.delete("/import-mappings/{name}")
def delete_mapping(request: Request, name: str) -> Any:
    """Forget a mapping."""
    who, now_ms = _allow(request, "ingest"), objects_of(request).now_ms()
    if not write(request, lambda c: forget_mapping(c, name, who=who, now_ms=now_ms)):
        raise NotFoundError(N_("there is no mapping {name!r}", name=name[:60]), field="name")
    return {"name": name}


def _mapping_item(one: imports.SavedMapping) -> dict[str, Any]:
    return {
        "name": one.name,
        "options": one.options,
        "saved_by": one.saved_by,
        "saved_at": when(one.saved_ms),
    }
