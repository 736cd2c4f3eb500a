"""The plant page: every press, worst first."""

import dataclasses
from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

import sqlalchemy as sa

from server.language import N_, _, plural
from server.show.first_steps import first_steps
from server.show.judged import Judgement, read_judgement
from server.show.likelihood_path import likelihood_path
from server.show.pages import Choice, PlantPage, PressRow
from server.show.plant_words import Plant, press_href
from server.show.press_words import WATCH, cause_line, is_silent, last_shot_words, urgency_mark
from server.show.startup_record import recorded_signals, startup_stroke
from server.show.stroke_strip import stroke_strip
from server.show.strokes import newest_stroke, thirty_days
from server.store.containments import held_lines
from server.store.first_run import records_without_shots
from server.store.page_queries import (
    Row,
    accepted_presses,
    baselines_in_force,
    mold_parts,
    open_alarms,
    shots_lately,
    waiting_presses,
)
from server.words.numbers import all_now, count_word, percent, whole
from server.words.times import MINUTE, span

#: Words of the state filter, in the order they are offered.
STATES: Mapping[str, str] = {
    "open": N_("with an open alarm"),
    "unusual": N_("not as usual"),
    "quiet": N_("quiet"),
    "silent": N_("silent"),
    "unknown": N_("not judged"),
}
#: Where an open alarm puts a press that has no higher likelihood.
_ALARM_RANK: Mapping[str, float] = {"now": 0.95, "this_shift": 0.5, "this_week": 0.25}
_SOONEST = tuple(_ALARM_RANK)


@dataclasses.dataclass(frozen=True)
class Wanted:
    """What the page was asked to show; empty is everything."""

    area: str = ""
    mold: str = ""
    state: str = ""


@dataclasses.dataclass(frozen=True)
class Known:
    """One press with all that its row is made of."""

    row: Row
    judgement: Judgement
    alarms: tuple[Row, ...]
    silent: bool
    open_at: float

    @property
    def urgency(self) -> str | None:
        waiting = [alarm["urgency"] for alarm in self.alarms if alarm["state"] != "shelved"]
        return min(waiting, key=_SOONEST.index) if waiting else None

    @property
    def mood(self) -> str:
        share = self.judgement.likelihood
        if self.urgency == "now" or (share is not None and share >= self.open_at):
            return "unusual"
        if self.silent:
            return "silent"
        if self.urgency or (share is not None and share >= WATCH):
            return "watch"
        return "unknown" if share is None else "quiet"

    @property
    def rank(self) -> float:
        share = self.judgement.likelihood
        floor = _ALARM_RANK.get(self.urgency or "", 0.0)
        return max(-1.0 if share is None else share, floor)

    def fits(self, wanted: Wanted) -> bool:
        if wanted.area and self.row["area"] != wanted.area:
            return False
        if wanted.mold and self.row["mold"] != wanted.mold:
            return False
        if wanted.state == "open":
            return self.urgency is not None
        if wanted.state == "unusual":
            return self.mood in ("unusual", "watch")
        return not wanted.state or self.mood == wanted.state


def build_plant(connection: sa.Connection, plant: Plant, *, wanted: Wanted) -> PlantPage:
    known = known_presses(connection, plant)
    shown = sorted((one for one in known if one.fits(wanted)), key=lambda one: (-one.rank, one.row["press"]))
    records = baselines_in_force(connection)
    parts = mold_parts(connection)
    holding = records_without_shots(connection)
    lately = shots_lately(connection, since_ms=plant.now_ms - 10 * MINUTE)
    return PlantPage(
        frame=plant.frame(
            _("Plant"), active="/", note=_("{lately} shots in the last 10 min", lately=whole(lately))
        ),
        answer=plant_answer([one.urgency for one in known], [one.mood for one in known]),
        under=_under(wanted, len(shown), len(known)),
        rows=tuple(
            press_row(connection, one, records.get(one.row["press_id"]), parts, plant, holding)
            for one in shown
        ),
        areas=_choices(sorted({one.row["area"] for one in known if one.row["area"]}), wanted.area),
        molds=_choices(sorted({one.row["mold"] for one in known if one.row["mold"]}), wanted.mold),
        states=tuple(Choice(key, text, key == wanted.state) for key, text in STATES.items()) if known else (),
        empty_text=_empty(len(known)),
        waiting=tuple(waiting_presses(connection)),
        parts_held=held_lines(connection),
        first=first_steps(connection, plant, place="plant"),
        wall_href=wall_href(wanted) if known else "",
    )


def wall_href(wanted: Wanted) -> str:
    """The same presses for a screen nobody touches.

    >>> wall_href(Wanted(area="Hall B"))
    '/wall?area=Hall+B'
    """
    asked = {name: value for name, value in (("area", wanted.area), ("mold", wanted.mold)) if value}
    return f"/wall?{urlencode(asked)}" if asked else "/wall"


def known_presses(connection: sa.Connection, plant: Plant) -> list[Known]:
    alarms: dict[int, list[Row]] = {}
    for alarm in open_alarms(connection):
        alarms.setdefault(alarm["press_id"], []).append(alarm)
    return [
        Known(
            row=row,
            judgement=read_judgement(row),
            alarms=tuple(alarms.get(row["press_id"], ())),
            silent=is_silent(
                row, silent_after_s=float(plant.settings["silent_after_s"]), now_ms=plant.now_ms
            ),
            open_at=float(plant.settings["open_at"]),
        )
        for row in accepted_presses(connection)
    ]


def plant_answer(urgencies: Sequence[str | None], moods: Sequence[str]) -> str:
    """The first sentence of the plant.

    >>> plant_answer(["now", "this_shift", None], ["unusual", "watch", "quiet"])
    'Two of 3 presses need someone. One of them now.'
    >>> plant_answer([None, None], ["quiet", "silent"])
    'No press needs anyone. One is silent.'
    """
    total = len(moods)
    if total == 0:
        return _("No press sends shots yet.")
    asking = [urgency for urgency in urgencies if urgency]
    silent = sum(mood == "silent" for mood in moods)
    if asking:
        verb = plural(len(asking), "needs", "need")
        noun = plural(total, "press", "presses")
        first = _(
            "{asking} of {total} {noun} {verb} someone.",
            asking=count_word(len(asking), capital=True),
            total=total,
            noun=noun,
            verb=verb,
        )
        now = asking.count("now")
        if now == len(asking):
            return f"{first} {all_now(now)}"
        return (
            _("{first} {now} of them now.", first=first, now=count_word(now, capital=True)) if now else first
        )
    if silent:
        return _(
            "No press needs anyone. {silent} {value} silent.",
            silent=count_word(silent, capital=True),
            value=plural(silent, "is", "are"),
        )
    if all(mood == "unknown" for mood in moods):
        return _("No press is judged yet.") if total > 1 else _("The press is not judged yet.")
    if all(mood == "quiet" for mood in moods):
        return _("All {total} presses are quiet.", total=total) if total > 1 else _("The press is quiet.")
    return _("No press needs anyone.")


def _under(wanted: Wanted, shown: int, total: int) -> str:
    if not total:
        return ""
    chosen = [part for part in (wanted.area, wanted.mold, STATES.get(wanted.state, "")) if part]
    where = " · ".join(chosen) if chosen else _("all areas")
    few = _(" · {shown} of {total}", shown=shown, total=total) if shown != total else ""
    return _("Worst first · {where}{few} · updates by itself", where=where, few=few)


def _empty(total: int) -> str:
    if total:
        return _("No press fits what was asked. Choose less above.")
    return _(
        "Send shots to /api/v1/shots, drop a file on the import page, or start the demo plant: ringtell demo."
    )


def _choices(values: Sequence[str], chosen: str) -> tuple[Choice, ...]:
    return tuple(Choice(value, value, value == chosen) for value in values)


def press_row(
    connection: sa.Connection,
    one: Known,
    record: Row | None,
    parts: Mapping[str, str],
    plant: Plant,
    holding: Mapping[int, int],
) -> PressRow:
    row, judgement = one.row, one.judgement
    unusual = one.mood == "unusual"
    silent = _(" Silent for {now}.", now=span(plant.now_ms - row["last_shot_ms"])) if one.silent else ""
    mold = row["mold"] or ""
    cause = cause_line(judgement, plant.units)
    if row["press_id"] in holding:
        cause = _(
            "Record {number} is approved and judges every shot after it", number=holding[row["press_id"]]
        )
    return PressRow(
        press=row["press"],
        name=row["name"],
        href=press_href(row["press"]),
        mold=f"{mold} {parts.get(mold, '')}".strip(),
        area=row["area"],
        likelihood_text=percent(judgement.likelihood, short=True),
        status_text="",
        mood=one.mood,
        path=likelihood_path(
            thirty_days(connection, row, now_ms=plant.now_ms), now_ms=plant.now_ms, unusual=unusual
        ),
        strip=stroke_strip(
            newest_stroke(connection, row),
            startup=startup_stroke(recorded_signals(record)),
            units=plant.units,
            unusual=unusual,
        ),
        cause_text=f"{cause}{'.' if silent else ''}{silent}",
        last_shot_text=last_shot_words(row, plant.now_ms),
        urgency=urgency_mark(one.urgency) if one.urgency else None,
        open_alarms=len(one.alarms),
    )
