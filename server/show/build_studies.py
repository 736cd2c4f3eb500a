"""The list of studies with what can be begun, and one study that was kept."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa
from markupsafe import Markup

from server.language import Measured, _, plural
from server.show.build_work import mold_choices, press_choices
from server.show.pages import Choice
from server.show.plant_words import Plant, press_api, press_href
from server.show.press_words import full_name
from server.show.study_figures import Passed, creep_chart, order_chart, path_chart, seal_chart
from server.show.study_pages import LimitRow, OpenRow, PhotoRow, StudiesPage, StudyPage, StudyRow
from server.store import sheets as kept
from server.store.page_queries import Row, document, latest_studies, press_with_state
from server.store.records import Study, checks_of, valves_of
from server.valve.creep import ACT_CREEP_MM_S, FINE_CREEP_MM_S, by_position
from server.valve.resins import METHODS, RESINS
from server.valve.wear import FINDINGS, INSTRUMENTS, MEASURED
from server.valve.weights import PROCESS_CLASSES
from server.words.catalogue import STUDY, VERDICT, worded
from server.words.guidance import caution_text
from server.words.numbers import count_word
from server.words.study_words import POSITIONS, PROCESS, check_rows, result_facts
from server.words.times import DAY
from server.words.units import STORED, Units

#: Cautions of the work behind each kind of study.
CAUTIONS: Final[dict[str, tuple[str, ...]]] = {
    "short-shot": ("hot_melt",),
    "drift-check": ("hot_melt", "heat_soak", "blocked_nozzle"),
    "gate-seal": ("hot_melt",),
    "qualification": ("hot_melt", "heat_soak"),
    "inspection": ("heat_soak", "lock_out"),
}
#: Photos a study takes, and rows of the list.
_PHOTOS: Final = 12


def build_studies(connection: sa.Connection, plant: Plant, *, kind: str = "", press: str = "") -> StudiesPage:
    done = latest_studies(connection, press=press or None)
    open_rows = tuple(
        _open(connection, code, sheet, plant)
        for code, sheet in kept.open_sheets(connection, press=press or None)
    )
    return StudiesPage(
        frame=plant.frame(_("Studies"), active="/studies"),
        answer=_answer(done, len(open_rows)),
        under=_("Off-line checks of {press}", press=press) if press else _("Off-line checks, cautions first"),
        presses=press_choices(connection, press, actor=plant.actor),
        molds=mold_choices(connection),
        chosen_kind=kind,
        rows=tuple(_study(row, plant) for row in done),
        open_rows=open_rows,
        processes=tuple(
            Choice(one, f"{PROCESS[one]}, {limit:g} %", one == "general")
            for one, limit in _class_limits(connection).items()
        ),
        resins=tuple(Choice(one.id, one.name, False) for one in RESINS.values()),
        methods=tuple(Choice(one, text, False) for one, text in METHODS.items()),
        measured=tuple(Choice(one, text, False) for one, text in MEASURED.items()),
        instruments=tuple(
            Choice(one, f"{text}, ± {Measured('length', give, 3)}", False)
            for one, (text, give) in INSTRUMENTS.items()
        ),
        findings=tuple(Choice(one, text, False) for one, text in FINDINGS.items()),
        limits=_limits(connection),
        hot_melt=caution_text(*CAUTIONS["short-shot"]),
        drift=caution_text(*CAUTIONS["drift-check"]),
        qualify=caution_text(*CAUTIONS["qualification"]),
        lock_out=caution_text(*CAUTIONS["inspection"]),
    )


def _answer(done: Sequence[Row], waiting: int) -> str:
    if waiting:
        verb = plural(waiting, "study is", "studies are")
        return _("{waiting} {verb} being done.", waiting=count_word(waiting, capital=True), verb=verb)
    if not done:
        return _("No study has been done yet.")
    first = done[0]
    verdict = worded(VERDICT, first["verdict"])
    return _(
        "Last study: {study} on {press}, {verdict}.",
        study=worded(STUDY, first["kind"]).lower(),
        press=first["press"],
        verdict=verdict,
    )


def _class_limits(connection: sa.Connection) -> dict[str, float]:
    known = kept.weight_limits(connection)
    return {one: known.get(("", one), start) for one, start in PROCESS_CLASSES.items()}


def _limits(connection: sa.Connection) -> tuple[LimitRow, ...]:
    own = [
        LimitRow(mold, PROCESS[process], f"{limit:g} %")
        for (mold, process), limit in sorted(kept.weight_limits(connection).items())
        if mold
    ]
    classes = _class_limits(connection).items()
    return (*own, *(LimitRow(_("every other"), PROCESS[one], f"{limit:g} %") for one, limit in classes))


def _open(connection: sa.Connection, press: str, sheet: kept.Sheet, plant: Plant) -> OpenRow:
    readings = kept.readings_of(connection, sheet.press_id, sheet.sheet_no)
    count = sum(one.withdrawn_ms is None for one in readings)
    return OpenRow(
        href=f"{press_href(press)}/sheets/{sheet.sheet_no}",
        name=worded(STUDY, sheet.kind) + (f", {sheet.mold}" if sheet.mold else ""),
        press=press,
        since=plant.moment(sheet.opened_ms),
        by=sheet.opened_by,
        readings=f"{count_word(count)} {plural(count, 'reading', 'readings')}",
    )


def _study(row: Row, plant: Plant) -> StudyRow:
    text = document(row["result"]).get("text")
    return StudyRow(
        press=f"{row['press']} {row['name']}".strip(),
        href=press_href(row["press"]),
        study_href=f"{press_href(row['press'])}/studies/{row['study_no']}",
        kind=worded(STUDY, row["kind"]),
        at_text=plant.moment(row["at_ms"]),
        mold=row["mold"],
        verdict=worded(VERDICT, row["verdict"]),
        text=text if isinstance(text, str) else "",
        author=row["author"],
        help=f"check-{row['kind']}",
    )


# --- one study ----------------------------------------------------------------------------------


def build_study(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> StudyPage | None:
    """None: there is no such study."""
    row = press_with_state(connection, press)
    study = None if row is None else kept.study_by_no(connection, row["press_id"], number)
    if row is None or study is None:
        return None
    photos = kept.photos_of(connection, study.press_id, number)
    api = f"{press_api(press)}/studies/{number}/photos"
    text = study.result.get("text")
    record = _record(connection, study)
    return StudyPage(
        frame=plant.frame(f"{worded(STUDY, study.kind)}, {press}", active="/studies"),
        answer=_(
            "{study} on {full_name}: {verdict}.",
            study=worded(STUDY, study.kind),
            full_name=full_name(row),
            verdict=worded(VERDICT, study.verdict),
        ),
        under=_under(study, plant, record),
        press=press,
        number=number,
        press_href=press_href(press),
        text=text if isinstance(text, str) else "",
        figures=figures_of(connection, study, plant.units),
        facts=(*result_facts(study.kind, study.asked, study.result), *_positions(connection, study)),
        **_table(study),
        confirmed=confirmed_words(study.asked),
        caution=caution_text(*CAUTIONS.get(study.kind, ())),
        help=f"check-{study.kind}",
        note=str(study.asked.get("note") or ""),
        is_inspection=study.kind == "inspection",
        photos=tuple(
            PhotoRow(f"{api}/{one.photo_no}", one.caption, one.width, one.height, one.who) for one in photos
        ),
        photos_href=api,
        photos_left=max(0, _PHOTOS - len(photos)),
        record_href="" if record is None else f"{press_href(press)}/baselines/{record}",
    )


def _positions(connection: sa.Connection, study: Study) -> tuple[tuple[str, str], ...]:
    """What drift checks of the same day at other screw positions tell: bore, or ring and seat."""
    if study.kind != "drift-check" or "position_mm" not in study.result:
        return ()
    same = [
        (float(one.result["position_mm"]), *(float(end) for end in one.result["creep_interval"][:2]))
        for one in checks_of(connection, study.press_id)
        if one.kind == study.kind and "position_mm" in one.result and abs(one.at_ms - study.at_ms) <= DAY
    ]
    text = POSITIONS[by_position([(position, low, high) for position, low, high in same])]
    return ((_("At other screw positions"), text),) if text else ()


def _under(study: Study, plant: Plant, record: int | None) -> str:
    beside = ""
    if study.kind == "qualification":
        beside = (
            _("beside no startup record yet")
            if record is None
            else _("stands beside startup record {record}", record=record)
        )
    parts = (plant.moment(study.at_ms), study.mold, _("by {author}", author=study.author), beside)
    return " · ".join(part for part in parts if part)


def _record(connection: sa.Connection, study: Study) -> int | None:
    """The startup record a qualification was kept with."""
    if study.kind != "qualification":
        return None
    for sheet in kept.sheets_of(connection, study.press_id, state="kept", kind="qualification"):
        if sheet.study_no == study.study_no:
            return sheet.baseline_no
    return None


def confirmed_words(asked: Mapping[str, Any]) -> str:
    """Who confirmed the cautions, when: as it was kept."""
    kept_words = asked.get("confirmed")
    if not isinstance(kept_words, Mapping):
        return ""
    at = str(kept_words.get("at", ""))[:16].replace("T", " ")
    return _("Cautions read and confirmed by {get}, {at} UTC.", get=kept_words.get("by", ""), at=at)


def _table(study: Study) -> dict[str, Any]:
    if study.kind == "qualification":
        return {
            "table_head": (_("Check"), _("Outcome"), _("What was found"), _("Limit")),
            "table": check_rows(study.result),
        }
    if study.kind == "inspection" and study.asked.get("measurements"):
        rows = tuple(
            (
                MEASURED[one["what"]],
                one["place"] or "–",
                str(Measured("length", one["value_mm"], 3)),
                f"± {Measured('length', one['uncertainty_mm'], 3)}",
                INSTRUMENTS[one["instrument"]][0],
            )
            for one in study.asked["measurements"]
        )
        return {
            "table_head": (_("What"), _("Place"), _("Measured"), _("Uncertainty (k = 2)"), _("With")),
            "table": rows,
        }
    return {"table_head": (), "table": ()}


def figures_of(
    connection: sa.Connection, study: Study, units: Units = STORED
) -> tuple[tuple[str, Markup], ...]:
    """What can be drawn of a study, and the path over the life of the valve it belongs to."""
    asked, result = study.asked, study.result
    drawn: list[tuple[str, Markup]] = []
    if study.kind == "short-shot":
        apart = (result.get("apart") or {}).get("index")
        chart = order_chart(asked.get("weights_g", ()), hold=asked.get("hold_weights_g", ()), apart=apart)
        drawn.append((_("Weights in the order they were made"), chart))
    elif study.kind == "drift-check":
        samples = [(one["t_s"], one["position_mm"]) for one in asked.get("samples", ())]
        chart = creep_chart(samples, result, units=units)
        drawn.append((_("Screw position at constant pressure"), chart))
    elif study.kind == "gate-seal":
        points = [(one["hold_time_s"], one["weight_g"]) for one in asked.get("points", ())]
        drawn.append((_("Part weight against hold time"), seal_chart(points, result)))
    drawn.append(_path(connection, study))
    return tuple((title, chart) for title, chart in drawn if chart)


def _path(connection: sa.Connection, study: Study) -> tuple[str, Markup]:
    """Every check of this kind on the same valve."""
    valves = [one for one in valves_of(connection, study.press_id) if one.fitted_ms <= study.at_ms]
    start = valves[0].fitted_ms if valves else None
    end = valves[0].removed_ms if valves else None
    same = [
        one
        for one in checks_of(connection, study.press_id)
        if one.kind == study.kind
        and (start is None or one.at_ms >= start)
        and (end is None or one.at_ms <= end)
    ]
    first = same[0].at_ms if start is None and same else (start or 0)
    passed = [found for one in same if (found := _passed(one, first)) is not None]
    x_name = _("days on the valve") if start is not None else _("days since the first check")
    if study.kind == "drift-check" and len(passed) > 1:
        limits = (FINE_CREEP_MM_S, ACT_CREEP_MM_S)
        return _("Creep over the life of this valve"), path_chart(
            passed, y_name=_("creep, mm/s"), limits=limits, x_name=x_name
        )
    nominal = valves[0].nominal_clearance_mm if valves else None
    if study.kind == "inspection" and passed and (len(passed) > 1 or nominal is not None):
        limits_mm = () if nominal is None else (nominal,)
        return _("Clearance over the life of this valve"), path_chart(
            passed, y_name=_("clearance, mm a side"), limits=limits_mm, x_name=x_name
        )
    return "", Markup("")


def _passed(study: Study, first_ms: int) -> Passed | None:
    day = (study.at_ms - first_ms) / DAY
    if study.kind == "drift-check" and "creep_interval" in study.result:
        low, high = study.result["creep_interval"]
        return Passed(day, float(study.result["creep_mm_s"]), float(low), float(high))
    value = study.result.get("clearance_mm")
    if study.kind == "inspection" and value is not None:
        give = float((study.result.get("clearance") or {}).get("uncertainty_mm", 0.0))
        return Passed(day, float(value), float(value) - give, float(value) + give)
    return None
