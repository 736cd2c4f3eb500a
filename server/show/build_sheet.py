"""A study while it is done: what was read so far, what it comes to, what is missing."""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, Protocol
from urllib.parse import urlencode

import sqlalchemy as sa
from markupsafe import Markup

from server.language import N_, _, plural, say
from server.maths.results import Undetermined
from server.show.build_studies import CAUTIONS, confirmed_words
from server.show.plant_words import Plant, press_api, press_href
from server.show.press_words import full_name
from server.show.study_figures import creep_chart, order_chart, seal_chart
from server.show.study_pages import BesideRow, ReadingRow, SheetPage, SheetSeries
from server.store import sheets as kept
from server.store.page_queries import press_with_state
from server.store.sheets import Reading, Sheet
from server.valve.press_checks import PRESS_CHECKS
from server.valve.weights import scale_step
from server.words.catalogue import STUDY, VERDICT, worded
from server.words.guidance import caution_text
from server.words.numbers import count_word, number, percent
from server.words.study_words import OUTCOME, PROCESS, result_facts
from server.words.times import MINUTE
from server.words.units import Units

#: A qualification is meant to take no longer, min.
_MINUTES: Final = 30
#: Rows of readings beside those of the press checks: name, first, second, how.
_ROWS: Final[dict[str, tuple[str, str, str, str]]] = {
    "short": (N_("Without hold"), N_("weight, g"), "", N_("Hold pressure off, part deliberately not full.")),
    "hold": (N_("With hold"), N_("weight, g"), "", N_("The same number of shots with hold as usual.")),
    "drift": (
        N_("Screw position"),
        N_("seconds"),
        N_("position, mm"),
        N_("Pressure constant, gate frozen or shut."),
    ),
    "gate_seal": (
        N_("Part weights"),
        N_("hold time, s"),
        N_("weight, g"),
        N_("Longer hold step by step, two parts each."),
    ),
    "balance": (
        N_("Volume balance"),
        N_("swept stroke, mm"),
        N_("shot weight, g"),
        N_("Swept stroke (shot size less cushion) and shot weight of three shots or more."),
    ),
}
#: What the limit of a press check is in, where it is no percent.
_LIMIT_UNIT: Final = {
    "position_reading": "mm", "transfer": "mm", "load": "% / 10 MPa", "recovery": "s", "residence": "min",
}  # fmt: skip
#: Studies on sheets of their own that make a qualification whole.
_BESIDE: Final = (
    ("gate-seal", N_("Before the gate seals, screw drift is packing and no leak.")),
    ("short-shot", N_("Does fill repeat without hold, and what does hold repair?")),
    ("drift-check", N_("Does the shut valve hold pressure?")),
)


class _Judged(Protocol):
    @property
    def result(self) -> Mapping[str, Any]: ...
    @property
    def verdict(self) -> str: ...


#: What the readings of a sheet come to, and the studies done beside it.
JudgeNow = Callable[[Sheet, Sequence[Reading]], _Judged | Undetermined]
Beside = Callable[[Sheet], Sequence[Mapping[str, Any]]]


def build_sheet(
    connection: sa.Connection, plant: Plant, *, press: str, number_: int, judge: JudgeNow, beside: Beside
) -> SheetPage | None:
    """None: there is no such sheet."""
    row = press_with_state(connection, press)
    sheet = None if row is None else kept.sheet_by_no(connection, row["press_id"], number_)
    if row is None or sheet is None:
        return None
    readings = kept.readings_of(connection, sheet.press_id, sheet.sheet_no)
    judged = judge(sheet, readings)
    result = {} if isinstance(judged, Undetermined) else dict(judged.result)
    api = f"{press_api(press)}/sheets/{sheet.sheet_no}"
    name = worded(STUDY, sheet.kind)
    series = _series(sheet, readings, result, api, plant)
    done = beside(sheet) if sheet.kind == "qualification" else ()
    return SheetPage(
        frame=plant.frame(f"{name}, {press}", active="/studies"),
        answer=_answer(sheet, judged, series, plant),
        under=" · ".join(
            one
            for one in (
                _("{name} on {full_name}", name=name, full_name=full_name(row)),
                sheet.mold,
                _limit_words(sheet),
                _(
                    "begun {opened} by {opened_by}",
                    opened=plant.moment(sheet.opened_ms),
                    opened_by=sheet.opened_by,
                ),
            )
            if one
        ),
        kind=sheet.kind,
        name=name,
        state=sheet.state,
        press=press,
        press_href=press_href(press),
        api_href=api,
        figure=_figure(sheet, readings, result, plant.units),
        facts=tuple(result_facts(sheet.kind, sheet.asked, result)),
        notes=_notes(judged, result),
        series=series,
        beside=_beside(sheet, done, press),
        confirmed=confirmed_words(sheet.asked),
        caution=caution_text(*CAUTIONS[sheet.kind]),
        study_href=f"{press_href(press)}/studies/{sheet.study_no}" if sheet.study_no else "",
        may_keep=not isinstance(judged, Undetermined),
    )


def _answer(sheet: Sheet, judged: _Judged | Undetermined, series: Sequence[SheetSeries], plant: Plant) -> str:
    if sheet.state == "dropped":
        return _("This study was given up.")
    if sheet.state == "kept":
        return _("This study is kept.")
    if sheet.kind == "qualification":
        checks = [one for one in series if one.id in PRESS_CHECKS]
        done = sum(bool(one.state) for one in checks)
        minutes = (plant.now_ms - sheet.opened_ms) // MINUTE
        late = "" if minutes <= _MINUTES else _(", longer than meant")
        return _(
            "{done} of {checks} checks done, {minutes} of {minutes_2} minutes gone{late}.",
            done=done,
            checks=len(checks),
            minutes=minutes,
            minutes_2=_MINUTES,
            late=late,
        )
    if isinstance(judged, Undetermined):
        count = sum(not one.is_withdrawn for row in series for one in row.readings)
        if not count:
            return _("No reading yet.")
        return _(
            "{count} {reading} so far: too few to tell.",
            count=count_word(count, capital=True),
            reading=plural(count, "reading", "readings"),
        )
    text = str(judged.result.get("text") or worded(VERDICT, judged.verdict))
    return f"{text.partition('. ')[0].partition(': ')[0].rstrip('.')}."


def _limit_words(sheet: Sheet) -> str:
    if "limit_pct" not in sheet.asked:
        return ""
    return _(
        "limit {limit_pct:g} %, {process}",
        limit_pct=sheet.asked["limit_pct"],
        process=PROCESS[sheet.asked["process_class"]],
    )


def _notes(judged: _Judged | Undetermined, result: Mapping[str, Any]) -> tuple[str, ...]:
    if isinstance(judged, Undetermined):
        return (_("Missing: {reason}.", reason=judged.reason),)
    notes = [str(result["text"])] if result.get("text") else []
    if judged.verdict == "undecided" and result.get("more_shots"):
        more = int(result["more_shots"])
        shots = _("{more} more {shot}", more=more, shot=plural(more, "shot", "shots"))
        notes.append(
            _("About {shots} would settle it in four cases of five, if the scatter stays.", shots=shots)
        )
    apart = result.get("apart")
    if apart:
        notes.append(
            _(
                "Shot {index} ({value} g) lies apart from the others (Grubbs' test, p = {p}). It"
                " stays in: shots that fall out are what this study looks for. Take it back only if it"
                " was mistyped or mixed up.",
                index=apart["index"] + 1,
                value=number(apart["value"], 5),
                p=number(apart["p"], 2),
            )
        )
    if "range_over" in result:
        notes.append(
            _(
                "Heaviest less lightest grows with the number weighed: over {n} shots a process"
                " exactly at the limit is beyond {limit_pct:g} % in {range_over} of cases. So the"
                " scatter is judged, not the range.",
                n=result["n"],
                limit_pct=result["limit_pct"],
                range_over=percent(result["range_over"]),
            )
        )
    if result.get("scale_step_g") and result["scale_step_g"] > 1.5 * result.get("sd_g", 0.0):
        notes.append(
            _(
                "The scale's step of {scale_step_g:g} g is coarse for this scatter.",
                scale_step_g=result["scale_step_g"],
            )
        )
    return tuple(notes)


def _series(
    sheet: Sheet, readings: Sequence[Reading], result: Mapping[str, Any], api: str, plant: Plant
) -> tuple[SheetSeries, ...]:
    ids = {
        "short-shot": ("short", "hold"), "drift-check": ("drift",), "gate-seal": ("gate_seal",),
        "qualification": (*PRESS_CHECKS, *(("balance",) if "melt_density_g_cm3" in sheet.asked else ())),
    }[sheet.kind]  # fmt: skip
    judged = result.get("checks") or {}
    found = []
    for one in ids:
        mine = [reading for reading in readings if reading.series == one]
        asked = PRESS_CHECKS.get(one)
        labels = (asked.first, asked.second) if asked else _ROWS[one][1:3]
        mine = [_shown(reading, labels, plant.units) for reading in mine]
        rows = _readings(mine, api, plant, is_open=sheet.state == "open")
        if sheet.kind == "qualification" and one in PRESS_CHECKS:
            found.append(_labelled(_check(sheet, one, rows, judged.get(one), mine), plant.units))
            continue
        name, first, second, how = _ROWS[one]
        text = str((result.get("balance") or {}).get("text", "")) if one == "balance" else ""
        state = "measured" if text else ""
        series = SheetSeries(
            one,
            name,
            first,
            second,
            "",
            how,
            "",
            rows,
            state,
            _("measured") if text else "",
            text,
            _filled(mine),
        )
        found.append(_labelled(series, plant.units))
    return tuple(found)


def _shown(reading: Reading, labels: Sequence[str], units: Units) -> Reading:
    """A reading in the units of whoever looks, which its labels name."""
    first, second = (units.label(say(label))[1] for label in labels)
    return dataclasses.replace(
        reading,
        first=units.shown(first, reading.first) if first else reading.first,
        second=units.shown(second, reading.second)
        if second and reading.second is not None
        else reading.second,
    )


def _labelled(series: SheetSeries, units: Units) -> SheetSeries:
    """Labels in the units of whoever enters, and what turns these into stored ones."""
    first, second = say(series.first), say(series.second)
    asked = [units.label(text) for text in (first, second)]
    factors = " ".join(f"{units.factor(quantity):.12g}" if quantity else "1" for _text, quantity in asked)
    return dataclasses.replace(
        series, first=asked[0][0], second=asked[1][0], factors=factors, stored=(first, second),
        **_limit_in(series, units),
    )  # fmt: skip


def _limit_in(series: SheetSeries, units: Units) -> dict[str, Any]:
    """The limit in the units of whoever enters, and what turns it into the stored one."""
    if series.limit_unit != "mm":
        return {}
    return {
        "limit": units.entered("length", series.limit),
        "limit_unit": units.written("length"),
        "limit_stored": series.limit,
        "limit_factor": f"{units.factor('length'):.12g}",
    }


def _check(
    sheet: Sheet,
    id_: str,
    rows: tuple[ReadingRow, ...],
    judged: Mapping[str, Any] | None,
    mine: Sequence[Reading],
) -> SheetSeries:
    asked = PRESS_CHECKS[id_]
    limit = sheet.asked.get("limits", {}).get(id_) or asked.limit
    state = "" if judged is None else str(judged["verdict"])
    return SheetSeries(
        id_, asked.name, asked.first, asked.second, asked.why, asked.how, f"{limit:g}", rows, state,
        OUTCOME[state] if state else _("about {minutes} min", minutes=asked.minutes),
        "" if judged is None else str(judged["text"]), _filled(mine), limit_unit=_LIMIT_UNIT.get(id_, "%"),
    )  # fmt: skip


def _filled(readings: Sequence[Reading]) -> str:
    """The readings as they would be typed, so that a correction begins with what stands there."""
    lines = [one for one in readings if one.withdrawn_ms is None]
    return "\n".join(f"{one.first:g}" + ("" if one.second is None else f" {one.second:g}") for one in lines)


def _readings(
    readings: Sequence[Reading], api: str, plant: Plant, *, is_open: bool
) -> tuple[ReadingRow, ...]:
    step = scale_step([one.first for one in readings]) if readings else 1.0
    places = max(0, len(f"{step:.6f}".rstrip("0").split(".")[1]))
    rows, n = [], 0
    for one in readings:
        gone = one.withdrawn_ms is not None
        n += not gone
        value = f"{one.first:.{places}f}" + ("" if one.second is None else f" → {one.second:.5g}")
        back = f"{api}/readings/{one.reading_no}" if is_open and not gone else ""
        mark = _("taken back by {withdrawn_by}", withdrawn_by=one.withdrawn_by) if gone else one.source
        rows.append(ReadingRow(0 if gone else n, value, plant.moment(one.at_ms), one.who, mark, back, gone))
    return tuple(reversed(rows))


def _figure(sheet: Sheet, readings: Sequence[Reading], result: Mapping[str, Any], units: Units) -> Markup:
    standing = [one for one in readings if one.withdrawn_ms is None]
    if sheet.kind == "short-shot":
        rows = {name: [one.first for one in standing if one.series == name] for name in ("short", "hold")}
        apart = (result.get("apart") or {}).get("index")
        return order_chart(rows["short"], hold=rows["hold"], apart=apart)
    pairs = [(one.first, one.second) for one in standing if one.second is not None]
    if sheet.kind == "drift-check":
        return creep_chart(pairs, result or None, units=units)
    return seal_chart(pairs, result or None) if sheet.kind == "gate-seal" else Markup("")


def _beside(sheet: Sheet, done: Sequence[Mapping[str, Any]], press: str) -> tuple[BesideRow, ...]:
    if sheet.kind != "qualification":
        return ()
    known = {str(one["kind"]): one for one in done}
    rows = []
    for kind, why in _BESIDE:
        one = known.get(kind)
        text = _("not done") if one is None else worded(VERDICT, str(one["verdict"]))
        if one is not None and kind == "short-shot" and not one["with_hold"]:
            text += _("; not yet with hold")
        href = f"{press_href(press)}/studies/{one['study']}" if one else (
            f"/studies?{urlencode({'kind': kind, 'press': press})}#{kind}"
        )  # fmt: skip
        rows.append(BesideRow(worded(STUDY, kind), why, text, one is not None, href))
    return tuple(rows)
