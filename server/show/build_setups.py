"""The page of what a press was set to: its set-ups, changes of settings, and entering set-points."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.derived.set_points import value_text
from server.derived.setup_history import SetupHistory, SetupRun, setup_history
from server.language import _, plural
from server.show.baseline_pages import ChangeRow, SetupRow, SetupsPage
from server.show.pages import Fact
from server.show.plant_words import Plant, press_api, press_href
from server.show.press_words import full_name
from server.store.page_queries import Row, press_with_state
from server.store.plant import press_by_id
from server.store.records import Event
from server.store.setups import SetpointEntry
from server.words.catalogue import EVENT_NAMES, worded
from server.words.numbers import count_word, whole
from server.words.times import DAY

#: Rows of each list; the API has all of them.
_MOST = 60
#: Empty rows behind the known set-points of the form.
_EMPTY = 3


def build_setups(connection: sa.Connection, plant: Plant, *, press: str) -> SetupsPage | None:
    """None: the plant has no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    history = setup_history(connection, press_by_id(connection, row["press_id"]))
    now = _now(history, row)
    known = dict(now.entered.setpoints if now and now.entered else now.setpoints if now else {})
    fields = [Fact(name, value_text(value)) for name, value in known.items()]
    return SetupsPage(
        frame=plant.frame(_("{press} set-ups", press=press), active="/"),
        press=press,
        answer=_answer(full_name(row), history, now),
        under=_("Set-points come with the shots where the press reports them, or are entered here"),
        back_href=press_href(press),
        records_href=f"{press_href(press)}/baselines",
        api_href=press_api(press),
        rows=tuple(_row(run, plant, press, now=run is now) for run in history.runs[:_MOST]),
        changes=tuple(_change(one, plant) for one in history.changes[:_MOST]),
        entries=tuple(_entry(one, plant) for one in history.entries[:_MOST]),
        fields=(*fields, *(Fact("", "") for _ in range(_EMPTY))),
        mold=now.setup.mold if now else row["mold"] or "",
        material=now.setup.material if now else row["material"] or "",
        setup=now.setup.setup if now else "",
    )


def _now(history: SetupHistory, row: Row) -> SetupRun | None:
    """The set-up of the newest judged shots."""
    of = (row["mold"] or "", row["material"] or "", row["setup"] or "")
    return next(
        (
            run
            for run in history.runs
            if run.days is not None and (run.setup.mold, run.setup.material, run.setup.setup) == of
        ),
        history.runs[0] if history.runs else None,
    )


def _answer(name: str, history: SetupHistory, now: SetupRun | None) -> str:
    if now is None:
        return _("{name} has made no shots yet.", name=name)
    of = _(" with ").join(part for part in (now.setup.mold, now.setup.material) if part) or _(
        "a mold nobody named"
    )
    setup = _(", set-up {setup}", setup=now.setup.setup) if now.setup.setup else ""
    count = len(history.runs)
    others = (
        ""
        if count == 1
        else _(
            ", one of {count} {set_up} it has run",
            count=count_word(count),
            set_up=plural(count, "set-up", "set-ups"),
        )
    )
    return _("{name} runs {of}{setup}{others}.", name=name, of=of, setup=setup, others=others)


def _row(run: SetupRun, plant: Plant, press: str, *, now: bool) -> SetupRow:
    source, points = _points(run)
    number = None if run.record is None else run.record.baseline_no
    return SetupRow(
        of=" · ".join(part for part in (run.setup.mold, run.setup.material, run.setup.setup) if part) or "–",
        days=_days(run, plant),
        shots=_("not judged yet") if run.days is None else _("{shots} shots", shots=whole(run.days.shots)),
        record=_("no record fits") if number is None else _("record {number}", number=number),
        record_href="" if number is None else f"{press_href(press)}/baselines/{number}",
        setpoints=tuple(Fact(name, value_text(value)) for name, value in points.items()),
        source=source,
        runs_now=now,
    )


def _points(run: SetupRun) -> tuple[str, Mapping[str, Any]]:
    if run.setpoints:
        return _("reported with the shots"), run.setpoints
    if run.entered is not None:
        return _("entered by {author}", author=run.entered.author), run.entered.setpoints
    return _("no set-points known"), {}


def _days(run: SetupRun, plant: Plant) -> str:
    if run.days is None:
        return _("since {first_seen}", first_seen=plant.day(run.setup.first_seen_ms))
    # A day begins at midnight UTC; its noon falls on the same day in most zones.
    first, last = run.days.first_day_ms + DAY // 2, run.days.last_day_ms + DAY // 2
    one, other = plant.day(first), plant.day(last)
    return one if one == other else _("{one} to {other}", one=one, other=other)


def _change(event: Event, plant: Plant) -> ChangeRow:
    values = event.from_value, event.to_value
    moved = " → ".join(one or "?" for one in values) if any(values) else ""
    parts = [event.setting or worded(EVENT_NAMES, event.kind), moved, event.note]
    return ChangeRow(
        at_text=plant.moment(event.at_ms),
        at_iso=plant.zone.iso(event.at_ms),
        what=" ".join(part for part in parts if part),
        who=event.author,
    )


def _entry(entry: SetpointEntry, plant: Plant) -> ChangeRow:
    of = " · ".join(part for part in (entry.mold, entry.material, entry.setup) if part)
    points = ", ".join(f"{name} {value_text(value)}" for name, value in entry.setpoints.items())
    note = f" · “{entry.note}”" if entry.note else ""
    return ChangeRow(
        at_text=plant.moment(entry.at_ms),
        at_iso=plant.zone.iso(entry.at_ms),
        what=f"{of}: {points}{note}",
        who=entry.author,
    )
