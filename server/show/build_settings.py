"""Settings, login and trouble pages."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from server.show.frame import Frame
from server.show.more_pages import (
    LoginPage,
    SettingField,
    SettingsPage,
    TroublePage,
)
from server.show.pages import Choice, Fact
from server.show.plant_words import Plant
from server.store.page_queries import people_by_name
from server.store.thinning import last_thinning
from server.words.catalogue import ROLE, worded
from server.words.units import CHOICES, WRITTEN

#: What a setting is called, how it is entered, and what it means.
_FIELDS: tuple[tuple[str, str, str, str], ...] = (
    ("plant_name", "Name of the plant", "text", "Stands at the top of every page."),
    ("time_zone", "Time zone", "text", "IANA name, e.g. Europe/Berlin. Times are kept in UTC."),
    ("shifts", "Shifts begin at", "texts", "Local times with spaces between, e.g. 06:00 14:00 22:00."),
    ("prevalence", "Share of valves that leak", "number",
     "Assumed before any data; every likelihood starts from it (0 to 1)."),
    ("valve_life_shots", "Shots a valve lasts", "number",
     "In this plant, on average; with it the age of a valve is part of the likelihood. 0: not said."),
    ("alarm_budget_per_shift", "False alarms a shift", "number", "How many the plant tolerates in a shift."),
    ("alarm_budget_per_press_week", "False alarms of a press and week", "number",
     "How many on one press in a week round the clock; the stricter of the two holds."),
    ("open_at", "An alarm opens at", "number", "Likelihood of a leak (0 to 1) that calls someone."),
    ("close_at", "and ends below", "number", "Lower than the one above, so that it does not flicker."),
    ("silent_after_s", "Silent after, s", "number", "Without a shot for so long a press is silent."),
    ("shelve_max_min", "Put aside at most, min", "number", "How long an alarm may be put aside."),
    ("lock_after_min", "A shared tablet locks after, min", "number",
     "Without a touch for so long it asks who is there (1 to 120)."),
    ("out_of_service_max_days", "Out of service at most, days", "number",
     "After that a kind of alarm is back in service by itself."),
    ("keep_raw_months", "Keep single shots, months", "number",
     "Older ones may be thinned out; summaries, scores and findings stay. 0: for ever."),
    ("thin_at", "Thin out by itself at", "text",
     "Local time of a quiet hour, e.g. 02:30; four hours at most. Empty: only by ringtell db thin."),
    ("accept_unknown_presses", "Take in unknown presses", "switch",
     "A press that sends for the first time is taken in at once instead of being kept apart."),
)  # fmt: skip


def build_settings(connection: sa.Connection, plant: Plant) -> SettingsPage:
    last = last_thinning(connection)
    thinned = "" if last is None else f" Last: {plant.moment(last[0])}, {last[1]}."
    fields = tuple(
        SettingField(
            path, name, kind, _entered(plant.settings.get(path)),
            meaning + (thinned if path == "thin_at" else ""),
        )
        for path, name, kind, meaning in _FIELDS
    )  # fmt: skip
    units = tuple(
        SettingField(
            path=f"units.{quantity}",
            name=f"Unit of {quantity}",
            kind="choice",
            value=str(getattr(plant.units, quantity)),
            meaning="What pages show; shots are kept in mm, bar, °C and cm³.",
            choices=tuple(
                Choice(unit, WRITTEN[unit], unit == getattr(plant.units, quantity)) for unit in choices
            ),
        )
        for quantity, choices in CHOICES.items()
    )
    people = people_by_name(connection)
    return SettingsPage(
        frame=plant.frame("Settings", active="/settings"),
        answer=f"What {plant.name or 'the plant'} has decided.",
        under="Changes hold for everyone, at once",
        fields=fields + units,
        people=tuple(
            Fact(row["name"], worded(ROLE, row["role"]) + ("" if row["active"] else ", no longer active"))
            for row in people
        ),
    )


def _entered(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return " ".join(str(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def build_login(
    plant: Plant,
    *,
    next_path: str,
    wrong: bool = False,
    ended: bool = False,
    wait_s: int = 0,
    tablet: str = "",
    people: Sequence[tuple[str, str]] = (),
) -> LoginPage:
    """tablet: what the shared tablet is called; people: who may change over on it, as (name, full name)."""
    # Only a path of this server: an address elsewhere would make the login a trap.
    local = next_path.startswith("/") and not next_path.startswith(("//", "/\\"))
    answer = f"Sign in to {plant.name}." if plant.name else "Sign in."
    return LoginPage(
        frame=plant.frame("Sign in", active="/login"),
        answer="Who is there?" if tablet else answer,
        tablet=tablet,
        people=tuple(Choice(name, text or name) for name, text in people),
        next=next_path if local else "/",
        trouble=_refused(wrong=wrong, ended=ended, wait_s=wait_s),
    )


def _refused(*, wrong: bool, ended: bool, wait_s: int) -> str:
    if ended:
        return "This one-time password was not used in time. An administrator gives out another."
    if wait_s > 5:
        wait = f"{wait_s} seconds" if wait_s < 120 else f"{-(-wait_s // 60)} minutes"
        return f"Too many wrong tries. The next one is looked at in {wait}; until then nothing is."
    if wait_s:
        return "Many are signing in at this moment. Try again in a few seconds."
    return "Name or password is wrong. Try again." if wrong else ""


def build_trouble(
    frame: Frame, *, answer: str, under: str, way_out: tuple[tuple[str, str], ...]
) -> TroublePage:
    return TroublePage(frame=frame, answer=answer, under=under, way_out=way_out)
