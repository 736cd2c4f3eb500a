"""Rows that were found, each with its name, a line of words and its address."""

import dataclasses
from collections.abc import Callable, Mapping
from typing import Final
from urllib.parse import quote

import sqlalchemy as sa

from server.language import N_, _
from server.show.baseline_words import STATE
from server.show.build_valves import valve_href
from server.show.find_page import Found
from server.show.papers import KINDS
from server.show.plant_words import Plant, case_href, mold_href, press_href, trial_href
from server.store import find
from server.store.alarms import public_id
from server.store.find_words import Asked, Kinds, Row
from server.words.case_words import PROVEN
from server.words.catalogue import ALARM_KIND, ALARM_STATE, STUDY, URGENCY, VALVE_STYLE, VERDICT, worded
from server.words.times import DAY

#: Gives as many rows as the limit says, where there are so many.
Rows = Callable[[sa.Connection, Asked, Plant, int], list[Found]]


@dataclasses.dataclass(frozen=True)
class Look:
    """One kind of thing: its heading, the words that only name the kind, and who looks for it."""

    kind: str
    title: str
    names: tuple[str, ...]
    rows: Rows


def kinds_of(asked: Asked, words: Mapping[str, str]) -> Kinds:
    """The codes each word may stand for, by the words a code is shown in.

    >>> from server.store.find_words import read_words
    >>> kinds_of(read_words("drift"), STUDY)
    {'drift': frozenset({'drift-check'})}
    """
    return {
        word.text: frozenset(code for code, text in words.items() if word.text in text.lower())
        for word in asked.words
    }


def anchor(*parts: object) -> str:
    """A place on a page, in an address; the page itself writes spaces as underscores too.

    >>> anchor("alarm", "Q 01", 3)
    'alarm-Q_01-3'
    """
    return quote("-".join(str(part) for part in parts).replace(" ", "_"), safe="")


def _line(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _ran(row: Row) -> str:
    return " ".join(part for part in (row["mold"], row["material"], row["setup"]) if part)


def _is(asked: Asked, *names: str) -> bool:
    return asked.text in {name.lower() for name in names if name}


def presses(connection: sa.Connection, asked: Asked, _plant: Plant, limit: int) -> list[Found]:
    return [_press(row, asked) for row in find.presses_found(connection, asked, limit=limit)]


def _press(row: Row, asked: Asked) -> Found:
    runs = " ".join(part for part in (row["mold"], row["material"]) if part)
    now = (_("runs {runs}", runs=runs) if runs else "", _("lot {lot}", lot=row['lot']) if row["lot"] else "",
           _("box {box}", box=row['box']) if row["box"] else "")  # fmt: skip
    return Found(
        kind="press",
        title=f"{row['press']} {row['name']}".strip(),
        text=_line(_("Press"), row["area"], *now),
        href=press_href(row["press"]),
        exact=_is(asked, row["press"], row["name"]),
    )


def molds(connection: sa.Connection, asked: Asked, _plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="mold",
            title=row["mold"],
            href=mold_href(row["mold"]),
            text=_line(
                _("Mold"),
                row["part"],
                _("{cavities} cavities", cavities=row["cavities"]) if row["cavities"] else "",
            ),
            exact=_is(asked, row["mold"]),
        )
        for row in find.molds_found(connection, asked, limit=limit)
    ]


def materials(connection: sa.Connection, asked: Asked, _plant: Plant, limit: int) -> list[Found]:
    rows = find.materials_found(connection, asked, limit=limit)
    return [
        Found(
            kind="material",
            title=row["material"],
            href=f"{press_href(row['press'])}/setups",
            text=_(
                "Material, ran on {and_more}: what it ran with there",
                and_more=_and_more(row["press"], row["presses"]),
            ),
            exact=_is(asked, row["material"]),
        )
        for row in rows
    ]


def _and_more(first: str, count: int) -> str:
    return first if count == 1 else _("{first} and {count} more", first=first, count=count - 1)


def setups(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="setup",
            title=_ran(row),
            text=_line(
                _("Set-up of {press}", press=row["press"]),
                _("first seen {first_seen}", first_seen=plant.day(row["first_seen_ms"])),
            ),
            href=f"{press_href(row['press'])}/setups",
            exact=_is(asked, row["setup"]),
        )
        for row in find.setups_found(connection, asked, limit=limit)
    ]


def valves(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="valve",
            title=row["part_number"]
            or _("Valve {valve_no} of {press}", valve_no=row["valve_no"], press=row["press"]),
            text=_line(
                _("Valve {valve_no} of {press}", valve_no=row["valve_no"], press=row["press"]),
                worded(VALVE_STYLE, row["style"]),
                _("fitted {fitted}", fitted=plant.day(row["fitted_ms"])),
                _("removed {removed}", removed=plant.day(row["removed_ms"]))
                if row["removed_ms"]
                else _("still in"),
            ),
            href=valve_href(row["press"], row["valve_no"]),
            exact=_is(asked, row["part_number"]),
        )
        for row in find.valves_found(connection, asked, limit=limit)
    ]


def cases(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="case", title=_("Case {case_no} of {press}", case_no=row['case_no'], press=row['press']),
            text=_line(
                row["about"], _("opened {opened}", opened=plant.day(row['opened_ms'])),
                _("open") if row["closed_ms"] is None
                else _("closed: {how}", how=worded(PROVEN, row["verdict"])),
                row["owner"],
            ),
            href=case_href(row["press"], row["case_no"]),
            exact=_is(asked, f"{row['press']}/{row['case_no']}"),
        )
        for row in find.cases_found(connection, asked, limit=limit)
    ]  # fmt: skip


def alarms(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    kinds = kinds_of(asked, ALARM_KIND)
    rows = find.open_alarms_found(connection, asked, kinds, limit=limit)
    rows += find.past_alarms_found(connection, asked, kinds, limit=limit)
    return [_alarm(row, asked, plant) for row in rows[:limit]]


def _alarm(row: Row, asked: Asked, plant: Plant) -> Found:
    name = public_id(row["press"], row["alarm_no"])
    over = row["ended_ms"] is not None
    return Found(
        kind="alarm",
        title=_("Alarm {name}", name=name),
        text=_line(
            worded(ALARM_KIND, row["kind"]), "" if over else worded(URGENCY, row["urgency"]),
            _("since {opened}", opened=plant.moment(row['opened_ms'])), worded(ALARM_STATE, row["state"]),
        ),
        href=_around(row, plant) if over else f"/alarms#{anchor('alarm', name)}",
        exact=_is(asked, name),
    )  # fmt: skip


def _around(row: Row, plant: Plant) -> str:
    """The press's chart around an alarm that is over: no list shows it for ever."""
    zone = plant.zone
    from_text, to_text = (
        zone.local(at).strftime("%Y-%m-%dT%H:%M") for at in (row["opened_ms"] - DAY, row["ended_ms"] + DAY)
    )
    return f"{press_href(row['press'])}?from={from_text}&to={to_text}"


def studies(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    kinds = kinds_of(asked, STUDY)
    being_done = [
        Found(
            kind="study",
            title=_("Sheet {sheet_no} of {press}", sheet_no=row["sheet_no"], press=row["press"]),
            text=_line(
                worded(STUDY, row["kind"]),
                row["mold"],
                _("being done"),
                _("since {opened}", opened=plant.moment(row["opened_ms"])),
                row["opened_by"],
            ),
            href=f"{press_href(row['press'])}/sheets/{row['sheet_no']}",
        )
        for row in find.sheets_found(connection, asked, kinds, limit=limit)
    ]
    kept = [
        Found(
            kind="study",
            title=_("Study {study_no} of {press}", study_no=row["study_no"], press=row["press"]),
            text=_line(
                worded(STUDY, row["kind"]),
                row["mold"],
                worded(VERDICT, row["verdict"]),
                plant.moment(row["at_ms"]),
                row["author"],
            ),
            href=f"{press_href(row['press'])}/studies/{row['study_no']}",
        )
        for row in find.studies_found(connection, asked, kinds, limit=limit)
    ]
    return (being_done + kept)[:limit]


def records(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="startup_record",
            title=_(
                "Startup record {baseline_no} of {press}", baseline_no=row["baseline_no"], press=row["press"]
            ),
            text=_line(
                _ran(row),
                worded(STATE, row["state"]),
                _("captured {captured}", captured=plant.day(row["captured_ms"])),
                row["note"],
            ),
            href=f"{press_href(row['press'])}/baselines/{row['baseline_no']}",
        )
        for row in find.records_found(connection, asked, limit=limit)
    ]


def trials(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="trial",
            title=_("Setting trial {trial_no} of {press}", trial_no=row["trial_no"], press=row["press"]),
            text=_line(
                row["setting"],
                _("planned {planned}", planned=plant.day(row["planned_ms"])),
                _("running") if row["ended_ms"] is None else _("over"),
            ),
            href=trial_href(row["press"], row["trial_no"]),
        )
        for row in find.trials_found(connection, asked, limit=limit)
    ]


def held(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    return [
        Found(
            kind="held_parts",
            title=_(
                "Held parts {containment_no} of {press}",
                containment_no=row["containment_no"],
                press=row["press"],
            ),
            text=_line(row["mold"], row["why"], _("held since {held}", held=plant.moment(row["held_ms"]))),
            href=f"/containment#{anchor('h', row['press'], row['containment_no'])}",
        )
        for row in find.held_found(connection, asked, limit=limit)
    ]


def reports(connection: sa.Connection, asked: Asked, plant: Plant, limit: int) -> list[Found]:
    kinds = kinds_of(asked, {code: kind.name for code, kind in KINDS.items()})
    return [
        Found(
            kind="report",
            title=_("Report {report_no}", report_no=row["report_no"]),
            text=_line(
                KINDS[row["kind"]].name,
                row["subject"],
                _("made {made}", made=plant.day(row["made_ms"])),
                row["made_by"],
            ),
            href=f"/reports/{row['report_no']}",
        )
        for row in find.reports_found(connection, asked, kinds, limit=limit)
    ]


#: In the order of the page.
LOOKS: Final = (
    Look("press", N_("Presses"), ("press", "presses"), presses),
    Look("mold", N_("Molds"), ("mold", "molds"), molds),
    Look("alarm", N_("Alarms"), ("alarm", "alarms"), alarms),
    Look("case", N_("Cases"), ("case", "cases"), cases),
    Look("valve", N_("Valves"), ("valve", "valves"), valves),
    Look("study", N_("Studies"), ("study", "studies", "sheet", "sheets"), studies),
    Look(
        "startup_record",
        N_("Startup records"),
        ("startup", "record", "records", "baseline", "baselines"),
        records,
    ),
    Look("material", N_("Materials"), ("material", "materials"), materials),
    Look("setup", N_("Set-ups"), ("set-up", "set-ups", "setup", "setups"), setups),
    Look("trial", N_("Setting trials"), ("setting", "trial", "trials"), trials),
    Look("held_parts", N_("Held parts"), ("held", "parts"), held),
    Look("report", N_("Reports"), ("report", "reports"), reports),
)
