"""The alarm page: few, ranked, in words, with what to do now; and the shift around them."""

import dataclasses
from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from server.derived.alarm_performance import STALE_MS
from server.derived.shift_summary import ShiftSummary, summarise
from server.language import _, plural
from server.show.case_lines import case_lines
from server.show.judged import read_judgement
from server.show.pages import AlarmCard, AlarmsPage, HandoverCard
from server.show.plant_words import SUSPECT_KINDS, Plant, press_api, press_href
from server.show.press_words import alarm_text, urgency_mark
from server.store import alarm_history, alarm_service, floor
from server.store.alarm_history import Told
from server.store.alarms import Alarm, public_id
from server.store.page_queries import Row, accepted_presses, open_alarms, past_alarms
from server.words.catalogue import ALARM_KIND, ALARM_STATE, HELD_BACK, REASON, URGENCY, worded
from server.words.guidance import floor_advice
from server.words.numbers import all_now, count_word

_ORDER: Final = ("now", "this_shift", "this_week")
_WAITING: Final = ("unacknowledged", "returned_unacknowledged")
_HELD: Final = ("suppressed", "out_of_service")
#: Answers a card offers, the most wanted first.
ANSWERS: Final = tuple(REASON.items())
#: Minutes a card offers to put an alarm aside for.
_SHELVES: Final = (60, 240, 480)
#: Alarms a case can be opened from.
_CASE_KINDS: Final = (*SUSPECT_KINDS, "scatter", "shift", "capability")
#: A hand-over older than this is history, read or not.
_HANDOVER_MS: Final = 2 * 86_400_000


def build_alarms(connection: sa.Connection, plant: Plant, *, show_all: bool = False) -> AlarmsPage:
    cards = _open_cards(connection, plant)
    waiting = tuple(card for card in cards if card.open)
    held = tuple(card for card in cards if card.state_text.startswith("held:"))
    past = [alarm_card(alarm, None, plant) for alarm in past_alarms(connection)] if show_all else []
    summary = summarise(connection, now_ms=plant.now_ms)
    shift = summary.shift
    return AlarmsPage(
        frame=plant.frame(
            _("Alarms"), active="/alarms", note=_("{name} shift", name=shift.name) if shift.name else ""
        ),
        answer=alarms_answer([card.urgency.id for card in waiting]),
        under=_("Most urgent first · updates by itself"),
        cards=waiting,
        quiet=tuple(card for card in cards if not card.open and card not in held),
        held=tuple(_without_mark(card) for card in held),
        stops=_stops(connection, plant),
        shift_text=_shift_text(summary, cards),
        shift_name=shift.name,
        shift_opened=tuple(_told(one, plant) for one in summary.opened),
        shift_answered=tuple(_told(one, plant) for one in summary.answered),
        shift_staying=tuple(_stays(one) for one in summary.staying),
        parts_held=summary.parts_held,
        handover=_handover(connection, plant),
        at_ms=plant.now_ms,
        at_text=plant.moment(plant.now_ms),
        shelves=_shelves(plant),
        show_all=show_all,
        past=tuple(past),
    )


def _open_cards(connection: sa.Connection, plant: Plant) -> list[AlarmCard]:
    states = {row["press_id"]: row for row in accepted_presses(connection)}
    cases = case_lines(connection)
    flickering = alarm_history.chattering(connection, now_ms=plant.now_ms)
    opened = sorted(
        open_alarms(connection), key=lambda alarm: (_ORDER.index(alarm["urgency"]), alarm["opened_ms"])
    )
    return [
        dataclasses.replace(
            alarm_card(alarm, states.get(alarm["press_id"]), plant),
            marks=_marks(alarm, plant, flickers=(alarm["press_id"], alarm["kind"]) in flickering),
            case=cases.get(alarm["press_id"]),
            press_api=press_api(alarm["press"]) if alarm["kind"] in _CASE_KINDS else "",
        )
        for alarm in opened
    ]


def _marks(alarm: Row, plant: Plant, *, flickers: bool) -> tuple[str, ...]:
    marks = []
    if flickers:
        marks.append(_("comes and goes"))
    if alarm["state"] not in (*_HELD, "shelved") and plant.now_ms - alarm["opened_ms"] > STALE_MS:
        marks.append(_("stands since {opened}", opened=plant.moment(alarm["opened_ms"])))
    if alarm["escalated"]:
        marks.append(_("nobody answered in time: others were told"))
    return tuple(marks)


def alarms_answer(urgencies: Sequence[str]) -> str:
    """
    >>> alarms_answer(["now", "this_shift", "this_week"])
    'Three things. One is yours now.'
    >>> alarms_answer([])
    'Nothing waits for you.'
    """
    if not urgencies:
        return _("Nothing waits for you.")
    now = urgencies.count("now")
    first = f"{count_word(len(urgencies), capital=True)} {plural(len(urgencies), 'thing', 'things')}."
    if not now:
        return (
            _("{first} None of them now.", first=first)
            if len(urgencies) > 1
            else _("{first} Not now.", first=first)
        )
    if now == len(urgencies):
        return f"{first} {all_now(now)}"
    return _(
        "{first} {now} {value} yours now.",
        first=first,
        now=count_word(now, capital=True),
        value=plural(now, "is", "are"),
    )


def alarm_card(alarm: Row, row: Row | None, plant: Plant) -> AlarmCard:
    judgement = read_judgement(row) if row is not None else None
    shelved = alarm["state"] == "shelved"
    return AlarmCard(
        id=public_id(alarm["press"], alarm["alarm_no"]),
        press=alarm["press"],
        name=alarm["name"],
        href=press_href(alarm["press"]),
        urgency=urgency_mark(alarm["urgency"]),
        since_text=plant.moment(alarm["opened_ms"]),
        text=alarm_text(alarm, row, judgement, units=plant.units, now_ms=plant.now_ms),
        advice=floor_advice(alarm["kind"], alarm["cause"]),
        state_text=_state_text(alarm, plant),
        answered=_answered(alarm, plant),
        open=alarm["state"] in _WAITING,
        shelved=shelved,
        suspects=alarm["kind"] in SUSPECT_KINDS,
        help=f"alarm-{alarm['kind']}",
        kind_text=worded(ALARM_KIND, alarm["kind"]),
    )


def _state_text(alarm: Row, plant: Plant) -> str:
    if alarm["state"] == "shelved" and alarm["shelved_until_ms"]:
        return _("put aside until {shelved_until}", shelved_until=plant.moment(alarm["shelved_until_ms"]))
    if alarm["state"] == "suppressed":
        return _("held: {why}", why=worded(HELD_BACK, alarm["suppressed_by"]))
    if alarm["state"] == "out_of_service":
        return _("held: this kind is out of service")
    return worded(ALARM_STATE, alarm["state"])


def _without_mark(card: AlarmCard) -> AlarmCard:
    return dataclasses.replace(card, state_text=card.state_text.removeprefix(_("held: {why}", why="")))


def _answered(alarm: Row, plant: Plant) -> str:
    if alarm["acknowledged_by"] is None or alarm["state"] in ("shelved", *_HELD):
        return ""
    reason = worded(REASON, alarm["reason"] or "seen").lower()
    return f"{alarm['acknowledged_by']}, {plant.moment(alarm['acknowledged_ms'])}: {reason}"


def _stops(connection: sa.Connection, plant: Plant) -> tuple[str, ...]:
    return tuple(
        _(
            "{press}, {alarm_kind}: out of service until {until}, {who}: {why}",
            press=stop.press,
            alarm_kind=worded(ALARM_KIND, stop.kind),
            until=plant.moment(stop.until_ms),
            who=stop.who,
            why=stop.why,
        )
        for stop in alarm_service.stops_now(connection)
    )


def _shelves(plant: Plant) -> tuple[tuple[int, str], ...]:
    longest = int(plant.settings["shelve_max_min"])
    minutes = [one for one in _SHELVES if one <= longest] or [longest]
    return tuple((one, f"{one // 60} h" if one % 60 == 0 else _("{one} min", one=one)) for one in minutes)


def _shift_text(summary: ShiftSummary, cards: Sequence[AlarmCard]) -> str:
    opened, answered = len(summary.opened), len(summary.answered)
    shelved = sum(card.shelved for card in cards)
    parts = [f"{opened} {plural(opened, 'alarm', 'alarms')}", _("{answered} answered", answered=answered)]
    if shelved:
        parts.append(_("{shelved} put aside", shelved=shelved))
    return _("Shift so far: {join}.", join=", ".join(parts))


def _told(one: Told, plant: Plant) -> str:
    who = f"{one.press} {one.name}".strip()
    text = f"{plant.moment(one.at_ms)} {who}: {worded(ALARM_KIND, one.kind)}"
    if one.action != "acknowledged":
        return text
    return f"{text}, {one.who}: {worded(REASON, one.reason or 'seen').lower()}"


def _stays(one: Alarm) -> str:
    return (
        f"{one.press}: {worded(ALARM_KIND, one.kind)}, {worded(URGENCY, one.urgency)},"
        f" {worded(ALARM_STATE, one.state)}"
    )


def _handover(connection: sa.Connection, plant: Plant) -> HandoverCard | None:
    """The newest note, as long as it may still matter."""
    for one in floor.latest_handovers(connection, limit=1):
        if plant.now_ms - one.at_ms > _HANDOVER_MS:
            return None
        shift = _("{shift} shift", shift=one.shift) if one.shift else _("shift before")
        read = (
            _("Read by {read_by}, {read}.", read_by=one.read_by, read=plant.moment(one.read_ms))
            if one.read_by
            else ""
        )
        return HandoverCard(
            number=one.handover_no,
            title=_("From the {shift}: {who}, {at}", shift=shift, who=one.who, at=plant.moment(one.at_ms)),
            note=one.note,
            read_text=read,
            unread=one.read_by is None,
        )
    return None
