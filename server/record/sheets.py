"""Studies that are open while they are done: a sheet is begun, takes readings one by one, and is kept."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.clock import as_text
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.maths.results import Undetermined
from server.record.fields import Given, read_number, refuse
from server.record.press_studies import read_pairs
from server.record.qualifications import record_in_force
from server.record.sheet_bodies import SERIES, body_of, paired
from server.record.studies import CAUTIONS, judge_study, keep_study
from server.record.study_kinds import POINTS_MAX, Judged, read_plug, read_way
from server.record.weight_limits import limit_for
from server.store import sheets as kept
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import Press, need_mold
from server.store.records import Study
from server.store.sheets import Reading, Sheet
from server.valve.weights import PROCESS_CLASSES
from server.words.catalogue import shared_entries

#: Sheets a press may have open at once.
OPEN_MAX: Final = 20
SOURCES: Final = ("typed", "pasted", "file", "scale")
_START: Final = (
    "kind", "mold", "process_class", "limit_pct", "resin", "method", "pressure_bar", "plug_rated_bar",
    "viscosity_pa_s", "land_mm", "melt_density_g_cm3", "confirmed", "note",
)  # fmt: skip


def open_sheet(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> Sheet:
    """Begin a study: its cautions are confirmed first, and what decides it is read before any reading."""
    given = Given.of(body, known=_START)
    kind = given.choice("kind", tuple(CAUTIONS))
    mold = given.text("mold", longest=40)
    if mold:
        mold = str(need_mold(connection, mold)["mold"])
    elif kind == "qualification":
        raise InvalidError(N_("mold is missing: a press is qualified with a mold"), field="mold")
    asked = {**_confirmed(given, kind, who=who, now_ms=now_ms), **_decided(connection, given, kind, mold)}
    if len(kept.sheets_of(connection, press.press_id, state="open")) >= OPEN_MAX:
        raise ConflictError(
            N_(
                "{open_max} studies are open on {press}; keep or drop one first",
                open_max=OPEN_MAX,
                press=press.press,
            )
        )
    sheet = kept.add_sheet(
        connection,
        Sheet(press.press_id, 0, kind, mold, "open", now_ms, who, {**asked, "note": given.note()}),
    )
    _audit(connection, press, sheet, "sheet_opened", who=who, now_ms=now_ms, after={"kind": kind, **asked})
    return sheet


def _confirmed(given: Given, kind: str, *, who: str, now_ms: int) -> dict[str, Any]:
    value, known = given.body.get("confirmed"), shared_entries("cautions")
    if not isinstance(value, list) or not all(one in known for one in value):
        raise refuse(
            "confirmed",
            value,
            N_("a list with {join}, read and confirmed first", join=", ".join(CAUTIONS[kind])),
        )
    missing = [one for one in CAUTIONS[kind] if one not in value]
    if missing:
        raise InvalidError(
            N_("confirmed lacks {join}: the cautions come before the work", join=", ".join(missing)),
            field="confirmed",
        )
    return {"confirmed": {"cautions": value, "by": who, "at": as_text(now_ms)}}


def _decided(connection: sa.Connection, given: Given, kind: str, mold: str) -> dict[str, Any]:
    asked: dict[str, Any] = {}
    if kind == "short-shot":
        process = "general"
        if given.has("process_class"):
            process = given.choice("process_class", tuple(PROCESS_CLASSES))
        limit = given.number("limit_pct", above=0.0, most=100.0)
        asked["process_class"] = process
        asked["limit_pct"] = limit_for(connection, mold, process) if limit is None else limit
    if kind == "drift-check":
        given.need("resin", "method", "pressure_bar")
        pressure = given.number("pressure_bar", above=0.0, most=10_000.0)
        assert pressure is not None
        asked = {"pressure_bar": pressure, **read_way(given)}
        if asked["method"] == "rated_plug":
            read_plug(given, asked, pressure_bar=pressure)
    for name in ("viscosity_pa_s", "land_mm", "melt_density_g_cm3"):
        value = given.number(name, above=0.0, most=1e6)
        if value is not None:
            asked[name] = value
    return asked


def need_sheet(connection: sa.Connection, press: Press, number: int) -> Sheet:
    """The sheet, or NotFoundError."""
    sheet = kept.sheet_by_no(connection, press.press_id, number)
    if sheet is None:
        raise NotFoundError(
            N_("press {press!r} has no sheet {number}", press=press.press, number=number), field="number"
        )
    return sheet


def _need_open(connection: sa.Connection, press: Press, number: int) -> Sheet:
    """The sheet, and nobody else writes on it or ends it until the transaction does."""
    lock_press(connection, press.press_id)
    sheet = need_sheet(connection, press, number)
    if sheet.state != "open":
        raise ConflictError(
            N_(
                "sheet {number} of {press} is {state}; open a new one to go on",
                number=number,
                press=press.press,
                state=sheet.state,
            )
        )
    return sheet


def weighing_sheet(connection: sa.Connection, press: Press) -> Sheet:
    """The newest open sheet of weights: where a reading of the scale at the press belongs."""
    for sheet in kept.sheets_of(connection, press.press_id, state="open"):
        if sheet.kind == "short-shot":
            return sheet
    raise ConflictError(
        N_("no short-shot study is open on {press}; begin one, then weigh", press=press.press)
    )


# --- readings -----------------------------------------------------------------------------------


def add_readings(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> list[Reading]:
    """Take readings: `value`, or `values`; pairs as lists of two. `mark` makes one sent twice count once."""
    given = Given.of(
        body, known=("series", "value", "second", "values", "mark", "source", "instead", "limit")
    )
    sheet = _need_open(connection, press, number)
    series = given.choice("series", SERIES[sheet.kind]) if given.has("series") else SERIES[sheet.kind][0]
    source = given.choice("source", SOURCES) if given.has("source") else "typed"
    mark = given.text("mark", longest=80) or None
    known = kept.readings_of(connection, press.press_id, number)
    if mark is not None and any(one.mark == mark for one in known):
        return [one for one in known if one.mark == mark]
    pairs = _pairs(given, is_paired=paired(sheet.kind, series))
    standing = [one for one in known if one.withdrawn_ms is None]
    if len(known) + len(pairs) > POINTS_MAX:
        raise ConflictError(
            N_(
                "a sheet takes at most {points_max} readings; keep this one and open another",
                points_max=POINTS_MAX,
            )
        )
    if given.flag("instead"):
        old = [one.reading_no for one in standing if one.series == series]
        kept.withdraw_readings(connection, press.press_id, number, old, who=who, now_ms=now_ms)
    if given.has("limit"):
        _set_limit(connection, sheet, series, given)
    marks = [mark, *[None] * len(pairs)]
    added = kept.add_readings(
        connection,
        [
            Reading(press.press_id, number, 0, series, first, second, now_ms, who, source, marks[i])
            for i, (first, second) in enumerate(pairs)
        ],
    )
    values = [one.first if one.second is None else [one.first, one.second] for one in added]
    after = {"series": series, "values": values, "source": source}
    _audit(connection, press, sheet, "readings_added", who=who, now_ms=now_ms, after=after)
    return added


def _pairs(given: Given, *, is_paired: bool) -> list[tuple[float, float | None]]:
    if given.has("value") == given.has("values"):
        raise InvalidError(N_("send value, or values, one of them"), field="value")
    name = "value" if given.has("value") else "values"
    if name == "value" and given.has("second"):
        one: Any = [given.body["value"], given.body["second"]]
    else:
        one = given.body[name]
    many = one if name == "values" else [one]
    if not isinstance(many, list) or not 1 <= len(many) <= POINTS_MAX:
        raise refuse(name, many, N_("a list of 1 to {points_max} readings", points_max=POINTS_MAX))
    for i, reading in enumerate(many):
        if isinstance(reading, list) != is_paired:
            wanted = "a pair of numbers" if is_paired else "a number"
            raise refuse(name if name == "value" else f"{name}[{i}]", reading, wanted)
    if is_paired:
        return list(read_pairs(Given({name: many}), name))
    return [(read_number(name, reading, above=0.0, most=1e6), None) for reading in many]


def _set_limit(connection: sa.Connection, sheet: Sheet, series: str, given: Given) -> None:
    limits = {**sheet.asked.get("limits", {}), series: given.number("limit", above=0.0, most=1e6)}
    kept.change_sheet(connection, sheet, asked={**sheet.asked, "limits": limits})


def withdraw_reading(
    connection: sa.Connection, press: Press, number: int, reading_no: int, *, who: str, now_ms: int
) -> Reading:
    """Take a reading back, such as one mistyped: it stays on record and counts no more."""
    sheet = _need_open(connection, press, number)
    known = kept.readings_of(connection, press.press_id, number)
    found = next((one for one in known if one.reading_no == reading_no), None)
    if found is None:
        raise NotFoundError(
            N_("sheet {number} has no reading {reading_no}", number=number, reading_no=reading_no),
            field="reading_no",
        )
    if found.withdrawn_ms is not None:
        return found
    kept.withdraw_readings(connection, press.press_id, number, [reading_no], who=who, now_ms=now_ms)
    before = {"series": found.series, "first": found.first, "second": found.second}
    _audit(
        connection, press, sheet, "reading_withdrawn", who=who, now_ms=now_ms, before=before,
        after={"reading_no": reading_no},
    )  # fmt: skip
    return dataclasses.replace(found, withdrawn_ms=now_ms, withdrawn_by=who)


# --- how it stands, and its end -----------------------------------------------------------------


def judge_now(
    connection: sa.Connection, press: Press, sheet: Sheet, readings: Sequence[Reading]
) -> Judged | Undetermined:
    """What the readings so far come to; Undetermined with what is missing."""
    body = body_of(connection, press, sheet, readings)
    try:
        return judge_study(connection, sheet.kind, body, who=sheet.opened_by, now_ms=sheet.opened_ms)[2]
    except InvalidError as error:
        return Undetermined(error.message)


def close_sheet(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> tuple[Sheet, Study]:
    """Keep the study a sheet came to; InvalidError says what is missing, and the sheet stays open."""
    given = Given.of(body or {}, known=("note",))
    sheet = _need_open(connection, press, number)
    readings = kept.readings_of(connection, press.press_id, number)
    note = given.note() or str(sheet.asked.get("note", ""))
    asked = {**body_of(connection, press, sheet, readings), "note": note}
    started = {
        "sheet_no": sheet.sheet_no,
        "opened_at": as_text(sheet.opened_ms),
        "confirmed": sheet.asked["confirmed"],
        "withdrawn": sum(one.withdrawn_ms is not None for one in readings),
    }
    study = keep_study(connection, sheet.kind, asked, who=who, now_ms=now_ms, started=started)
    changes: dict[str, Any] = {
        "state": "kept", "closed_ms": now_ms, "closed_by": who, "study_no": study.study_no,
    }  # fmt: skip
    if sheet.kind == "qualification":
        changes["baseline_no"] = record_in_force(connection, press, sheet.mold)
    return kept.change_sheet(connection, sheet, **changes), study


def drop_sheet(connection: sa.Connection, press: Press, number: int, *, who: str, now_ms: int) -> Sheet:
    """Give up a study; its readings stay on record."""
    sheet = _need_open(connection, press, number)
    _audit(connection, press, sheet, "sheet_dropped", who=who, now_ms=now_ms, before={"state": "open"})
    return kept.change_sheet(connection, sheet, state="dropped", closed_ms=now_ms, closed_by=who)


def _audit(
    connection: sa.Connection,
    press: Press,
    sheet: Sheet,
    action: str,
    *,
    who: str,
    now_ms: int,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> None:
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action=action,
        subject=f"{press.press} sheet {sheet.sheet_no}",
        before=before,
        after=after,
    )
