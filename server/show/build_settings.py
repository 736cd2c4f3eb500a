"""Settings, login and trouble pages."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from server.language import N_, _, say
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
from server.words.units import CHOICES, QUANTITY, WRITTEN

#: What a setting is called, how it is entered, and what it means.
_FIELDS: tuple[tuple[str, str, str, str], ...] = (
    ("plant_name", N_("Name of the plant"), "text", N_("Stands at the top of every page.")),
    ("time_zone", N_("Time zone"), "text", N_("IANA name, e.g. Europe/Berlin. Times are kept in UTC.")),
    (
        "shifts",
        N_("Shifts begin at"),
        "texts",
        N_("Local times with spaces between, e.g. 06:00 14:00 22:00."),
    ),
    (
        "prevalence",
        N_("Share of valves that leak"),
        "number",
        N_("Assumed before any data; every likelihood starts from it (0 to 1)."),
    ),
    (
        "valve_life_shots",
        N_("Shots a valve lasts"),
        "number",
        N_("In this plant, on average; with it the age of a valve is part of the likelihood. 0: not said."),
    ),
    (
        "alarm_budget_per_shift",
        N_("False alarms a shift"),
        "number",
        N_("How many the plant tolerates in a shift."),
    ),
    (
        "alarm_budget_per_press_week",
        N_("False alarms of a press and week"),
        "number",
        N_("How many on one press in a week round the clock; the stricter of the two holds."),
    ),
    ("open_at", N_("An alarm opens at"), "number", N_("Likelihood of a leak (0 to 1) that calls someone.")),
    (
        "close_at",
        N_("and ends below"),
        "number",
        N_("Lower than the one above, so that it does not flicker."),
    ),
    ("silent_after_s", N_("Silent after, s"), "number", N_("Without a shot for so long a press is silent.")),
    ("shelve_max_min", N_("Put aside at most, min"), "number", N_("How long an alarm may be put aside.")),
    (
        "lock_after_min",
        N_("A shared tablet locks after, min"),
        "number",
        N_("Without a touch for so long it asks who is there (1 to 120)."),
    ),
    (
        "out_of_service_max_days",
        N_("Out of service at most, days"),
        "number",
        N_("After that a kind of alarm is back in service by itself."),
    ),
    (
        "keep_raw_months",
        N_("Keep single shots, months"),
        "number",
        N_("Older ones may be thinned out; summaries, scores and findings stay. 0: for ever."),
    ),
    (
        "keep_fine_months",
        N_("Keep ten-minute summaries, months"),
        "number",
        N_("As long as single shots at least; those of hours and days always stay. 0: for ever."),
    ),
    (
        "thin_at",
        N_("Thin out by itself at"),
        "text",
        N_("Local time of a quiet hour, e.g. 02:30; four hours at most. Empty: only by ringtell db thin."),
    ),
    (
        "accept_unknown_presses",
        N_("Take in unknown presses"),
        "switch",
        N_("A press that sends for the first time is taken in at once instead of being kept apart."),
    ),
)


def build_settings(connection: sa.Connection, plant: Plant) -> SettingsPage:
    last = last_thinning(connection)
    thinned = (
        "" if last is None else _(" Last: {last}, {last_2}.", last=plant.moment(last[0]), last_2=last[1])
    )
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
            name=_("Unit of {quantity}", quantity=say(QUANTITY[quantity])),
            kind="choice",
            value=str(getattr(plant.units, quantity)),
            meaning=_("What pages show; shots are kept in mm, bar, °C and cm³."),
            choices=tuple(
                Choice(unit, WRITTEN[unit], unit == getattr(plant.units, quantity)) for unit in choices
            ),
        )
        for quantity, choices in CHOICES.items()
    )
    people = people_by_name(connection)
    return SettingsPage(
        frame=plant.frame(_("Settings"), active="/settings"),
        answer=_("What {name} has decided.", name=plant.name or _("the plant")),
        under=_("Changes hold for everyone, at once"),
        fields=fields + units,
        people=tuple(
            Fact(row["name"], worded(ROLE, row["role"]) + ("" if row["active"] else _(", no longer active")))
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
    nobody: bool = False,
) -> LoginPage:
    """tablet: what the shared tablet is called; people: who may change over on it, as (name, full name).

    nobody: no account was made so far.
    """
    # Only a path of this server: an address elsewhere would make the login a trap.
    local = next_path.startswith("/") and not next_path.startswith(("//", "/\\"))
    answer = _("Sign in to {name}.", name=plant.name) if plant.name else _("Sign in.")
    return LoginPage(
        frame=plant.frame(_("Sign in"), active="/login"),
        answer=_("Who is there?") if tablet else answer,
        tablet=tablet,
        people=tuple(Choice(name, text or name) for name, text in people),
        next=next_path if local else "/",
        nobody=nobody,
        trouble=_refused(wrong=wrong, ended=ended, wait_s=wait_s),
    )


def _refused(*, wrong: bool, ended: bool, wait_s: int) -> str:
    if ended:
        return _("This one-time password was not used in time. An administrator gives out another.")
    if wait_s > 5:
        wait = (
            _("{wait_s} seconds", wait_s=wait_s)
            if wait_s < 120
            else _("{wait_s} minutes", wait_s=-(-wait_s // 60))
        )
        return _(
            "Too many wrong tries. The next one is looked at in {wait}; until then nothing is.", wait=wait
        )
    if wait_s:
        return _("Many are signing in at this moment. Try again in a few seconds.")
    return _("Name or password is wrong. Try again.") if wrong else ""


def build_trouble(
    frame: Frame, *, answer: str, under: str, way_out: tuple[tuple[str, str], ...]
) -> TroublePage:
    return TroublePage(frame=frame, answer=answer, under=under, way_out=way_out)
