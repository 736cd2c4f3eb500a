"""The alarm page: few, ranked, in words, with what to do now."""

from collections.abc import Mapping, Sequence
from typing import Final

import sqlalchemy as sa

from server.show.judged import read_judgement
from server.show.pages import AlarmCard, AlarmsPage
from server.show.plant_words import Plant, press_href
from server.show.press_words import alarm_text, urgency_mark
from server.store.alarms import public_id
from server.store.page_queries import Row, accepted_presses, alarm_counts_since, open_alarms, past_alarms
from server.words.catalogue import ALARM_STATE, REASON, worded
from server.words.guidance import floor_advice
from server.words.numbers import count_word, plural

_ORDER: Final = ("now", "this_shift", "this_week")
_WAITING: Final = ("unacknowledged", "returned_unacknowledged")
#: Answers a card offers, the most wanted first.
ANSWERS: Final = tuple(REASON.items())


def build_alarms(connection: sa.Connection, plant: Plant, *, show_all: bool = False) -> AlarmsPage:
    states = {row["press_id"]: row for row in accepted_presses(connection)}
    opened = sorted(
        open_alarms(connection), key=lambda alarm: (_ORDER.index(alarm["urgency"]), alarm["since_ms"])
    )
    cards = [alarm_card(alarm, states.get(alarm["press_id"]), plant) for alarm in opened]
    waiting = tuple(card for card in cards if card.open)
    past = [alarm_card(alarm, None, plant) for alarm in past_alarms(connection)] if show_all else []
    shift = plant.shift()
    return AlarmsPage(
        frame=plant.frame("Alarms", active="/alarms", note=f"{shift.name} shift" if shift.name else ""),
        answer=alarms_answer([card.urgency.id for card in waiting]),
        under="Most urgent first · updates by itself",
        cards=waiting,
        quiet=tuple(card for card in cards if not card.open),
        shift_text=_shift_text(alarm_counts_since(connection, shift.from_ms), cards),
        show_all=show_all,
        past=tuple(past),
    )


def alarms_answer(urgencies: Sequence[str]) -> str:
    """
    >>> alarms_answer(["now", "this_shift", "this_week"])
    'Three things. One is yours now.'
    >>> alarms_answer([])
    'Nothing waits for you.'
    """
    if not urgencies:
        return "Nothing waits for you."
    now = urgencies.count("now")
    first = f"{count_word(len(urgencies), capital=True)} {plural(len(urgencies), 'thing')}."
    if not now:
        return f"{first} None of them now." if len(urgencies) > 1 else f"{first} Not now."
    if now == len(urgencies):
        return f"{first} {('Now.', 'Both now.')[now - 1] if now <= 2 else 'All of them now.'}"
    return f"{first} {count_word(now, capital=True)} {plural(now, 'is', 'are')} yours now."


def alarm_card(alarm: Row, row: Row | None, plant: Plant) -> AlarmCard:
    judgement = read_judgement(row) if row is not None else None
    shelved = alarm["state"] == "shelved"
    return AlarmCard(
        id=public_id(alarm["press"], alarm["alarm_no"]),
        press=alarm["press"],
        name=alarm["name"],
        href=press_href(alarm["press"]),
        urgency=urgency_mark(alarm["urgency"]),
        since_text=plant.moment(alarm["since_ms"]),
        text=alarm_text(alarm, row, judgement, units=plant.units, now_ms=plant.now_ms),
        advice=floor_advice(alarm["kind"], alarm["cause"]),
        state_text=_state_text(alarm, plant),
        answered=_answered(alarm, plant),
        open=alarm["state"] in _WAITING,
        shelved=shelved,
    )


def _state_text(alarm: Row, plant: Plant) -> str:
    if alarm["state"] == "shelved" and alarm["shelved_until_ms"]:
        return f"put aside until {plant.moment(alarm['shelved_until_ms'])}"
    return worded(ALARM_STATE, alarm["state"])


def _answered(alarm: Row, plant: Plant) -> str:
    if alarm["acknowledged_by"] is None or alarm["state"] == "shelved":
        return ""
    reason = worded(REASON, alarm["reason"] or "seen").lower()
    return f"{alarm['acknowledged_by']}, {plant.moment(alarm['acknowledged_ms'])}: {reason}"


def _shift_text(counts: Mapping[str, int], cards: Sequence[AlarmCard]) -> str:
    opened = counts.get("opened", 0)
    answered = counts.get("acknowledged", 0)
    shelved = sum(card.shelved for card in cards)
    parts = [f"{opened} {plural(opened, 'alarm')}", f"{answered} answered"]
    if shelved:
        parts.append(f"{shelved} put aside")
    return f"Shift so far: {', '.join(parts)}."
