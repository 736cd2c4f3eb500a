"""Studies being done: a sheet is begun, takes readings one by one over HTTP, and is kept or dropped."""

import csv
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request

from server.errors import InvalidError, UnknownMediaError
from server.language import N_
from server.maths.results import Undetermined
from server.record import sheets as acts
from server.record.weight_limits import put_limit
from server.routes.calls import allow, code_of, objects_of, page_of, when, write
from server.store import sheets as kept
from server.store.plant import Press, need_press
from server.store.sheets import Reading, Sheet
from server.valve.weights import PROCESS_CLASSES

router = APIRouter(prefix="/api/v1", tags=["studies"])

Given = Annotated[Any, Body()]
#: What a database takes as a number; more was never given out.
Number = Annotated[int, Path(ge=0, lt=1 << 31)]
#: A file of readings is small: seconds and millimetres of some minutes.
_FILE_MAX = 1_000_000


@router.post("/presses/{press}/sheets", status_code=201)
def post_sheet(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Begin a short-shot, drift-check, gate-seal or qualification study; cautions are confirmed first."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    sheet = write(request, lambda c: acts.open_sheet(c, need_press(c, code), body, who=who, now_ms=now_ms))
    objects_of(request).hub.publish("press", code)
    return sheet_item(code, sheet)


@router.get("/presses/{press}/sheets")
def get_sheets(
    request: Request,
    press: str,
    state: str | None = None,
    limit: Annotated[int, Query(ge=1, le=1_000)] = 100,
) -> dict[str, Any]:
    """The sheets of a press, the newest first; `state`: open, kept or dropped."""
    code = code_of(press)
    allow(request, "read", press=code)
    if state is not None and state not in ("open", "kept", "dropped"):
        raise InvalidError(
            N_("state is {state!r}; it has to be open, kept or dropped", state=state), field="state"
        )
    with objects_of(request).store.read() as connection:
        found = kept.sheets_of(connection, need_press(connection, code).press_id, state=state, limit=limit)
    return page_of([sheet_item(code, one) for one in found], None)


@router.get("/presses/{press}/sheets/{number}")
def get_sheet(request: Request, press: str, number: Number) -> dict[str, Any]:
    """A sheet with its readings and what they come to so far."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        return _whole(connection, need_press(connection, code), number)


def _whole(connection: Any, press: Press, number: int) -> dict[str, Any]:
    sheet = acts.need_sheet(connection, press, number)
    readings = kept.readings_of(connection, press.press_id, number)
    judged = acts.judge_now(connection, press, sheet, readings)
    missing = judged.reason if isinstance(judged, Undetermined) else ""
    so_far = None if isinstance(judged, Undetermined) else {**judged.result, "verdict": judged.verdict}
    return {
        **sheet_item(press.press, sheet),
        "readings": [reading_item(one) for one in readings],
        "result": so_far,
        "missing": missing,
    }


@router.post("/presses/{press}/sheets/{number}/readings")
def post_readings(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Take a reading (`value`), several (`values`) or pairs; answers with what all come to so far.

    A `mark` of the sender's makes a reading sent twice count once; `instead` puts them in place of the rest.
    """
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()

    def job(connection: Any) -> dict[str, Any]:
        found = need_press(connection, code)
        added = acts.add_readings(connection, found, number, body, who=who, now_ms=now_ms)
        return {**_whole(connection, found, number), "added": [reading_item(one) for one in added]}

    answer = write(request, job)
    objects_of(request).hub.publish("press", code)
    return answer


@router.post("/presses/{press}/sheets/{number}/file")
async def post_file(request: Request, press: str, number: Number, series: str = "") -> dict[str, Any]:
    """Take readings from a CSV file, one a line: a number, or seconds and mm; a header may be there."""
    code = code_of(press)
    who = allow(request, "study", press=code).name
    objects: Any = request.app.state.ringtell
    body = await objects.gate.body_of(request, most=_FILE_MAX)
    now_ms = objects.now_ms()
    sent: dict[str, Any] = {"values": read_csv(body), "source": "file"}
    if series:
        sent["series"] = series

    def job(connection: Any) -> dict[str, Any]:
        found = need_press(connection, code)
        acts.add_readings(connection, found, number, sent, who=who, now_ms=now_ms)
        return _whole(connection, found, number)

    answer: dict[str, Any] = await objects.gate.run(lambda: write(request, job))
    objects.hub.publish("press", code)
    return answer


def read_csv(body: bytes) -> list[Any]:
    """Numbers of a file: comma, semicolon, tab or blank between cells; decimal commas where cells are
    set apart otherwise; the first line may be a header.

    >>> read_csv(b"t_s;position_mm\\n0;30,00\\n5;29,96\\n"), read_csv(b"41.8\\n41.9\\n")
    ([[0.0, 30.0], [5.0, 29.96]], [41.8, 41.9])
    """
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnknownMediaError(N_("the file is no text in UTF-8; save it as CSV")) from error
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    mark = next((one for one in (";", "\t", ",") if lines and one in lines[-1]), " ")
    found: list[Any] = []
    for i, cells in enumerate(_rows(lines, mark)):
        numbers = [_number(cell, decimal_comma=mark != ",") for cell in cells if cell.strip()]
        if None in numbers:
            if i == 0:
                continue
            raise InvalidError(
                N_("line {i} holds what is no number: {lines!r}", i=i + 1, lines=lines[i][:60]), field="file"
            )
        if len(numbers) not in (1, 2):
            raise InvalidError(
                N_("line {i} has {numbers} numbers; one or two belong", i=i + 1, numbers=len(numbers)),
                field="file",
            )
        found.append(numbers[0] if len(numbers) == 1 else numbers)
    if not found:
        raise InvalidError(N_("the file holds no numbers"), field="file")
    return found


def _rows(lines: list[str], mark: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=mark, skipinitialspace=True))
    except csv.Error as error:
        raise InvalidError(N_("the file cannot be read as CSV: {error}", error=error), field="file") from None


def _number(cell: str, *, decimal_comma: bool) -> float | None:
    try:
        return float(cell.strip().replace(",", ".") if decimal_comma else cell.strip())
    except ValueError:
        return None


@router.post("/presses/{press}/scale")
def post_scale(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """A reading of the scale at a press (`value` in g, `mark`, `series`) for the study that is open there."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    if not isinstance(body, dict):
        raise InvalidError(N_('send a reading such as {"value": 41.83}'), field="value")

    def job(connection: Any) -> dict[str, Any]:
        found = need_press(connection, code)
        sheet = acts.weighing_sheet(connection, found)
        sent = {"source": "scale", **body}
        acts.add_readings(connection, found, sheet.sheet_no, sent, who=who, now_ms=now_ms)
        return _whole(connection, found, sheet.sheet_no)

    answer = write(request, job)
    objects_of(request).hub.publish("press", code)
    return answer


@router.delete("/presses/{press}/sheets/{number}/readings/{reading_no}")
def delete_reading(request: Request, press: str, number: Number, reading_no: Number) -> dict[str, Any]:
    """Take a reading back: it stays on record and counts no more."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()

    def job(connection: Any) -> dict[str, Any]:
        found = need_press(connection, code)
        acts.withdraw_reading(connection, found, number, reading_no, who=who, now_ms=now_ms)
        return _whole(connection, found, number)

    answer = write(request, job)
    objects_of(request).hub.publish("press", code)
    return answer


@router.post("/presses/{press}/sheets/{number}/keep")
def keep_sheet(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """End a study: what it came to is kept and is part of the score."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    sheet, study = write(
        request, lambda c: acts.close_sheet(c, need_press(c, code), number, body, who=who, now_ms=now_ms)
    )
    objects_of(request).hub.publish("press", code)
    objects_of(request).wake()
    return {**study.result, "verdict": study.verdict, "id": study.study_no, "sheet": sheet.sheet_no}


@router.post("/presses/{press}/sheets/{number}/drop")
def drop_sheet(request: Request, press: str, number: Number) -> dict[str, Any]:
    """Give up a study; its readings stay on record and count for nothing."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    sheet = write(request, lambda c: acts.drop_sheet(c, need_press(c, code), number, who=who, now_ms=now_ms))
    objects_of(request).hub.publish("press", code)
    return sheet_item(code, sheet)


@router.get("/weight-limits")
def get_limits(request: Request) -> dict[str, Any]:
    """Limits on percent variation: what the plant set, and the starting values of each process class."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        known = kept.weight_limits(connection)
    items = [
        {"mold": mold, "process_class": process, "limit_pct": limit}
        for (mold, process), limit in sorted(known.items())
    ]
    return {**page_of(items, None), "starting_values": dict(PROCESS_CLASSES)}


@router.put("/weight-limits")
def put_limits(request: Request, body: Given = None) -> dict[str, Any]:
    """Set the limit of a mold (none: of every mold) and process class; `limit_pct` null takes it back."""
    who, now_ms = allow(request, "mold").name, objects_of(request).now_ms()
    return write(request, lambda c: put_limit(c, body, who=who, now_ms=now_ms))


def sheet_item(press: str, sheet: Sheet) -> dict[str, Any]:
    """A sheet as the API writes it."""
    return {
        "id": sheet.sheet_no,
        "press": press,
        "kind": sheet.kind,
        "mold": sheet.mold,
        "state": sheet.state,
        "opened_at": when(sheet.opened_ms),
        "opened_by": sheet.opened_by,
        "closed_at": when(sheet.closed_ms),
        "closed_by": sheet.closed_by,
        "asked": dict(sheet.asked),
        "study": sheet.study_no,
        "baseline": sheet.baseline_no,
    }


def reading_item(reading: Reading) -> dict[str, Any]:
    """A reading as the API writes it."""
    return {
        "id": reading.reading_no,
        "series": reading.series,
        "value": reading.first,
        "second": reading.second,
        "at": when(reading.at_ms),
        "who": reading.who,
        "source": reading.source,
        "mark": reading.mark,
        "withdrawn_at": when(reading.withdrawn_ms),
        "withdrawn_by": reading.withdrawn_by,
    }
