"""The data behind every page as a file: CSV, XLSX or Parquet."""

import contextlib
import functools
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, BinaryIO, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import StreamingResponse

from server.errors import InvalidError, NotFoundError
from server.language import N_
from server.routes.calls import allow, code_of, objects_of
from server.routes.quality import get_quality
from server.routes.reading import get_presses
from server.routes.reading_molds import get_capability, get_molds
from server.routes.reading_query import From, To, read_span
from server.routes.sources import get_sources
from server.routes.valves import get_spares
from server.show.spreadsheets import MEDIA, flattened, in_units, write_file
from server.store.exports import EXPORTS, heads_of, pages_of
from server.store.plant import need_press, read_settings
from server.waiting import Turns
from server.words.units import STORED, Units


def _every(get: Callable[..., dict[str, Any]], request: Request) -> list[dict[str, Any]]:
    """All pages of a reading call."""
    items: list[dict[str, Any]] = []
    cursor: str | None = None
    while True:
        page = get(request, limit=1_000, cursor=cursor)
        items += page["items"]
        cursor = page["next_cursor"]
        if cursor is None:
            return items


#: What the API answers as a list, as a file.
_ANSWERS: Final[dict[str, Callable[[Request], list[dict[str, Any]]]]] = {
    "presses": functools.partial(_every, get_presses),
    "molds": functools.partial(_every, get_molds),
    "sources": lambda request: list(get_sources(request)["items"]),
    "spares": lambda request: list(get_spares(request)["items"]),
}

router = APIRouter(prefix="/api/v1", tags=["exports"])

Form = Literal["csv", "xlsx", "parquet"]
#: Files made at one time: each takes a thread and a core, and whoever waits holds a thread pages want.
_TURNS: Final = Turns(
    at_once=2, waiting=4, wait_s=5, retry_after_s=20,
    said="two exports are being made already; try again in a while",
)  # fmt: skip
_PIECE: Final = 1 << 18


@router.get("/export/{what}", response_class=StreamingResponse)
def export(
    request: Request,
    what: str,
    form: Annotated[Form, Query(alias="format")] = "csv",
    press: str | None = None,
    since: From = None,
    to: To = None,
    units: Literal["stored", "shown"] = "stored",
) -> StreamingResponse:
    """Kept rows as a file, in UTC; `press` and a stretch narrow them. units: `stored`, or those pages show
    whoever asks, named at the end of each column (`cushion_in`).

    `what`: shots, findings, scores, summaries, events, alarms, alarm-steps, baselines, studies, cases,
    case-actions, trials, valves, containments, containment-steps, audit; presses, molds, sources, spares as
    they stand now; days: how complete the record of a press is. Summaries carry the 5th, 50th and 95th
    percentile of their shots, empty for the hour and the day that go on. A cell no spreadsheet should run
    gets an apostrophe before it; XLSX holds 1,048,575 rows.
    """
    code = None if press is None else code_of(press)
    rows = EXPORTS.get(what)
    allow(request, "audit" if rows is not None and rows.audit else "read", press=code)
    from_ms, to_ms = read_span(since, to)
    if code is not None:
        with objects_of(request).store.read() as connection:
            need_press(connection, code)
    timed = rows is not None and bool(rows.time)
    for name, given, narrows in (
        ("press", code, rows is not None or what == "days"), ("from", since, timed), ("to", to, timed)
    ):  # fmt: skip
        if given is not None and not narrows:
            raise InvalidError(
                N_("{name} narrows no export of {what!r}; leave it out", name=name, what=what[:40]),
                field=name,
            )
    asked = _units_of(request) if units == "shown" else STORED
    if what in _ANSWERS:
        return _of_items(what, form, _ANSWERS[what](request), asked)
    if what == "days":
        if code is None:
            raise InvalidError(N_("press is missing; days of a record are those of one press"), field="press")
        days = get_quality(request, code, days=90)["days"]
        return _of_items(f"days-{code}", form, [{"press": code, **one} for one in days], asked)
    if rows is None:
        known = ", ".join([*EXPORTS, *_ANSWERS, "days"])
        raise NotFoundError(
            N_("there is no export {what!r}; there are {known}", what=what[:40], known=known), field="what"
        )
    pages = pages_of(rows, objects_of(request).store.read, press=code, from_ms=from_ms, to_ms=to_ms)
    name = what if code is None else f"{what}-{code}"
    return _file(name, form, *in_units(heads_of(rows), pages, asked))


def _units_of(request: Request) -> Units:
    with objects_of(request).store.read() as connection:
        of_plant = read_settings(connection)["units"]
    return Units.chosen({**of_plant, **request.state.actor.units})


@router.get("/molds/{mold}/capability/export", response_class=StreamingResponse)
def export_capability(
    request: Request,
    mold: str,
    signal: str = "part_weight_g",
    form: Annotated[Form, Query(alias="format")] = "csv",
    since: From = None,
    to: To = None,
) -> StreamingResponse:
    """The lanes of a mold's page as a file: a row a press with every number and interval."""
    found = get_capability(request, mold, signal=signal, press=None, since=since, to=to)
    beside = {name: found[name] for name in ("mold", "signal", "limits", "demand_ppk")}
    return _of_items(f"capability-{mold}", form, [{**beside, **one} for one in found["items"]])


def _of_items(name: str, form: Form, items: list[dict[str, Any]], units: Units = STORED) -> StreamingResponse:
    heads, rows = flattened(items)
    return _file(name, form, *in_units(heads, iter([rows] if rows else []), units))


def _file(name: str, form: Form, heads: Mapping[str, str], pages: Iterator[Any]) -> StreamingResponse:
    """Made whole on disk first: what goes wrong is then said before the first byte of an answer."""
    with _TURNS.take():
        handle, path = tempfile.mkstemp(prefix="ringtell-export-", suffix=f".{form}")
        os.close(handle)
        try:
            write_file(Path(path), form, heads, pages)
        except BaseException:
            Path(path).unlink(missing_ok=True)
            raise
    file = Path(path).open("rb")  # noqa: SIM115  # closed behind its last piece
    # Gone from the folder at once: whoever hangs up leaves nothing behind.
    with contextlib.suppress(OSError):
        Path(path).unlink()
    plain = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "-_.") else "_" for sign in name)
    return StreamingResponse(
        _pieces(file),
        media_type=MEDIA[form],
        headers={
            "Content-Disposition": f'attachment; filename="{plain}.{form}"',
            "Content-Length": str(os.fstat(file.fileno()).st_size),
            "Cache-Control": "no-store",
        },
    )


def _pieces(file: BinaryIO) -> Iterator[bytes]:
    with file:
        while piece := file.read(_PIECE):
            yield piece
