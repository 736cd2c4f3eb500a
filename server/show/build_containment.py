"""Suspect parts: what open alarms make suspect, what is held, and what a complaint leads to."""

import dataclasses
from collections.abc import Sequence
from urllib.parse import urlencode

import sqlalchemy as sa

from server import clock
from server.derived.complaint import Found, look_up
from server.language import N_, _, plural
from server.show.build_work import press_choices
from server.show.more_pages import ContainmentPage, HeldRow, HeldStep, LookedUp, SuspectRow
from server.show.plant_words import SUSPECT_KINDS, Plant, Since, SinceOf, press_api, press_href, unknown_since
from server.store.containments import Containment, list_containments, steps_of
from server.store.page_queries import Row, accepted_presses, boxes_between, open_alarms, shots_between
from server.store.plant import need_press
from server.words.alarm_words import listed
from server.words.catalogue import ALARM_KIND, cause_name, worded
from server.words.numbers import count_word, fixed, percent, whole

_STATE = {"held": N_("held"), "sorted": N_("sorted, not released"), "released": N_("released")}
_ACTION = {"sorted": N_("Sorted"), "released": N_("Released")}
#: Released records that stay on the page.
_RELEASED_SHOWN = 10


@dataclasses.dataclass(frozen=True)
class Complaint:
    """What somebody asks for: a press, and a box, a serial or a stretch."""

    press: str
    box: str = ""
    serial: str = ""
    from_ms: int | None = None
    to_ms: int | None = None


def build_containment(
    connection: sa.Connection,
    plant: Plant,
    *,
    since_of: SinceOf = unknown_since,
    complaint: Complaint | None = None,
) -> ContainmentPage:
    """What open alarms for a valve make suspect, since when and where it went; and what is held."""
    states = {row["press_id"]: row for row in accepted_presses(connection)}
    leaks = [alarm for alarm in open_alarms(connection) if alarm["kind"] in SUSPECT_KINDS]
    earliest: dict[int, Row] = {}
    for alarm in leaks:
        known = earliest.get(alarm["press_id"])
        if known is None or alarm["opened_ms"] < known["opened_ms"]:
            earliest[alarm["press_id"]] = alarm
    held = list_containments(connection, is_open=True)
    rows = tuple(
        _without_held(_suspect(connection, alarm, plant, since_of(alarm["press"])), alarm, held, plant)
        for alarm in earliest.values()
        if alarm["press_id"] in states
    )
    gone = list_containments(connection, is_open=False, limit=_RELEASED_SHOWN)
    return ContainmentPage(
        frame=plant.frame(_("Containment"), active="/containment"),
        answer=_answer(len(rows), len(held)),
        under=_("Shots since the estimated onset of each open alarm, and parts that are held"),
        rows=rows,
        held=tuple(_held(connection, press, one, plant) for press, one in (*held, *gone)),
        presses=press_choices(connection, "" if complaint is None else complaint.press),
        found=() if complaint is None else _looked_up(connection, complaint, plant),
        asked=complaint is not None,
        asked_box="" if complaint is None else complaint.box,
        asked_serial="" if complaint is None else complaint.serial,
    )


def _answer(suspect: int, held: int) -> str:
    """
    >>> _answer(0, 0), _answer(2, 1)
    ('Nothing is suspect.', 'Two presses have made suspect parts. One record of held parts is open.')
    """
    told = _("Nothing is suspect.")
    if suspect:
        verb = plural(suspect, "press has", "presses have")
        told = _("{suspect} {verb} made suspect parts.", suspect=count_word(suspect, capital=True), verb=verb)
    if held:
        verb = _("record of held parts is") if held == 1 else _("records of held parts are")
        told += _(" {held} {verb} open.", held=count_word(held, capital=True), verb=verb)
    return told


def _without_held(
    row: SuspectRow, alarm: Row, held: Sequence[tuple[str, Containment]], plant: Plant
) -> SuspectRow:
    """What is held already is not offered again: only the shots made since."""
    mine = [one for _, one in held if one.press_id == alarm["press_id"]]
    covering = [one for one in mine if clock.as_text(one.from_ms) <= row.since_at <= clock.as_text(one.to_ms)]
    if not covering:
        return row
    until_ms = max(one.to_ms for one in mine)
    numbers = listed([_("record {containment_no}", containment_no=one.containment_no) for one in covering])
    return dataclasses.replace(
        row,
        since_at=clock.as_text(until_ms + 1),
        held_text=_(
            "Held in {numbers} until {until}; what was made since is not.",
            numbers=numbers,
            until=plant.moment(until_ms),
        ),
    )


def _held(connection: sa.Connection, press: str, one: Containment, plant: Plant) -> HeldRow:
    by = one.found_by
    onset = ""
    if one.onset_low_ms is not None and one.onset_high_ms is not None:
        onset = _(
            "{onset_low} to {onset_high}",
            onset_low=plant.moment(one.onset_low_ms),
            onset_high=plant.moment(one.onset_high_ms),
        )
    serials = list(by["serials"])
    return HeldRow(
        press=press,
        number=one.containment_no,
        href=press_href(press),
        api_href=f"{press_api(press)}/containments/{one.containment_no}",
        mold=one.mold or _("no mold named"),
        state=one.state,
        state_text=_STATE[one.state],
        span=_("{since} to {to}", since=plant.moment(one.from_ms), to=plant.moment(one.to_ms)),
        onset=onset,
        why=one.why,
        shots=whole(one.shots),
        boxes=boxes_words(by["boxes"]),
        lots=", ".join(by["lots"]) or _("not sent"),
        serials=_(
            "{serials} to {serials_2} ({serial_count})",
            serials=serials[0],
            serials_2=serials[-1],
            serial_count=whole(by["serial_count"]),
        )
        if serials
        else _("not sent"),
        shifts=", ".join(f"{shift['name']} {plant.day(shift['from_ms'])}" for shift in by["shifts"]) or "–",
        held_by=f"{one.held_by}, {plant.moment(one.held_ms)}",
        labels=tuple(str(box) for box in by["boxes"]) if one.state != "released" else (),
        steps=tuple(
            HeldStep(
                text=_ACTION[step.action]
                if step.parts_checked is None
                else _(
                    "{action}: {parts_bad} of {parts_checked} bad",
                    action=_ACTION[step.action],
                    parts_bad=whole(step.parts_bad),
                    parts_checked=whole(step.parts_checked),
                ),
                who=f"{step.who}, {plant.moment(step.at_ms)}",
                note=step.note,
            )
            for step in steps_of(connection, one.press_id, one.containment_no)
        ),
    )


def _looked_up(connection: sa.Connection, asked: Complaint, plant: Plant) -> tuple[LookedUp, ...]:
    found = look_up(
        connection,
        need_press(connection, asked.press),
        box=asked.box,
        serial=asked.serial,
        from_ms=asked.from_ms,
        to_ms=asked.to_ms,
    )
    return tuple(_looked(one, plant) for one in found)


def _looked(one: Found, plant: Plant) -> LookedUp:
    known = (
        _("no score then")
        if one.likelihood is None
        else _("leak-likelihood {likelihood}", likelihood=percent(one.likelihood))
    )
    told = [f"{number} ({worded(ALARM_KIND, kind).lower()}, {state})" for number, kind, state in one.alarms]
    capable = one.capability_text
    if one.ppk is not None:
        demand = "" if one.demand is None else _(", demand {demand:g}", demand=one.demand)
        capable = _(
            "Ppk {ppk} over the day before{demand}. {capability_text}",
            ppk=fixed(one.ppk, 2),
            demand=demand,
            capability_text=one.capability_text,
        )
    return LookedUp(
        title=f"{one.press}, {one.mold or _('no mold named')}",
        span=_(
            "{shots} {shot}, {since} to {to}",
            shots=whole(one.shots),
            shot=plural(one.shots, "shot", "shots"),
            since=plant.moment(one.from_ms),
            to=plant.moment(one.to_ms),
        ),
        known=known,
        alarms=listed(told) if told else _("none stood open"),
        held=listed([_("record {number}", number=number) for number in one.containments]) or _("never held"),
        capable=capable,
    )


def _suspect(connection: sa.Connection, alarm: Row, plant: Plant, onset: Since | None) -> SuspectRow:
    # The early end of the interval: better one box too many than one too few.
    # From its opening on, however often it was answered or put aside since.
    opened = int(alarm["opened_ms"])
    since = min(opened, onset.from_ms) if onset else opened
    boxes = boxes_between(connection, alarm["press_id"], from_ms=since, column="box")
    lots = boxes_between(connection, alarm["press_id"], from_ms=since, column="lot")
    reason = (
        _("The screw goes to bottom.") if alarm["kind"] == "bottoming" else f"{cause_name(alarm['cause'])}."
    )
    query = urlencode({"from": clock.as_text(since), "limit": 10_000})
    return SuspectRow(
        press=f"{alarm['press']} {alarm['name']}".strip(),
        href=press_href(alarm["press"]),
        since=plant.moment(since),
        shots=whole(shots_between(connection, alarm["press_id"], from_ms=since)),
        boxes=boxes_words(boxes),
        lots=", ".join(lots) or _("not sent"),
        reason=reason,
        hold_href=f"{press_api(alarm['press'])}/containments",
        since_at=clock.as_text(since),
        csv_href=f"{press_api(alarm['press'])}/shots?{query}",
        file=f"suspect-{alarm['press']}.csv",
    )


def boxes_words(boxes: Sequence[str]) -> str:
    """First to last with their count; few are all named.

    >>> boxes_words(["2207", "2208"]), boxes_words([str(n) for n in range(2207, 2232)]), boxes_words([])
    ('2207, 2208', '2207 to 2231 (25 boxes)', 'not sent')
    """
    if not boxes:
        return _("not sent")
    if len(boxes) <= 6:
        return ", ".join(boxes)
    return _("{boxes} to {boxes_2} ({boxes_3} boxes)", boxes=boxes[0], boxes_2=boxes[-1], boxes_3=len(boxes))
