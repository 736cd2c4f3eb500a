"""Pages people work on: baselines and containment; and what their forms choose from."""

from collections.abc import Sequence
from urllib.parse import urlencode

import sqlalchemy as sa

from server import clock
from server.show.more_pages import (
    BaselineRow,
    BaselineSignal,
    BaselinesPage,
    ContainmentPage,
    SuspectRow,
)
from server.show.pages import Choice
from server.show.plant_words import SUSPECT_KINDS, Plant, Since, SinceOf, press_api, press_href, unknown_since
from server.show.press_words import full_name
from server.show.startup_record import RecordedSignal, recorded_signals
from server.store.page_queries import (
    Row,
    accepted_presses,
    baselines_of,
    boxes_between,
    mold_parts,
    open_alarms,
    press_with_state,
    shots_between,
)
from server.words.catalogue import cause_name, signal_name, worded
from server.words.numbers import count_word, plural, whole
from server.words.units import Units, signal_places, signal_quantity, signal_text

_STATE = {"draft": "waiting for approval", "approved": "in force", "retired": "retired"}
_LEAVING_OUT = {
    "warm_up": "warm-up", "transient": "after a restart", "outlier": "far off",
    "not_good": "parts not good", "restart": "after a restart",
}  # fmt: skip


def press_choices(connection: sa.Connection, chosen: str = "") -> tuple[Choice, ...]:
    return tuple(
        Choice(row["press"], full_name(row), row["press"] == chosen) for row in accepted_presses(connection)
    )


def mold_choices(connection: sa.Connection) -> tuple[Choice, ...]:
    return tuple(Choice(mold, f"{mold} {part}".strip()) for mold, part in mold_parts(connection).items())


# --- baselines --------------------------------------------------------------------------------


def build_baselines(connection: sa.Connection, plant: Plant, *, press: str) -> BaselinesPage | None:
    """None: the plant has no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    records = baselines_of(connection, row["press_id"])
    return BaselinesPage(
        frame=plant.frame(f"{press} startup records", active="/"),
        press=press,
        page_href=press_href(press),
        api_href=press_api(press),
        answer=_baselines_answer(row, records, plant),
        under="A record belongs to press, mold, material and set-up; the press is judged against it",
        rows=tuple(_baseline_row(record, press, plant) for record in records),
        mold=row["mold"] or "",
        setup="",
    )


def _baselines_answer(row: Row, records: Sequence[Row], plant: Plant) -> str:
    name = full_name(row)
    current = next((one for one in records if one["baseline_no"] == row["baseline_no"]), None)
    if current is not None:
        return f"{name} is judged against record {current['baseline_no']} of {plant.day(current['to_ms'])}."
    drafts = sum(one["state"] == "draft" for one in records)
    if drafts:
        verb = plural(drafts, "waits", "wait")
        return f"{name} is not judged: {count_word(drafts)} {plural(drafts, 'record')} {verb} for approval."
    return f"{name} is not judged: it has no startup record."


def _baseline_row(record: Row, press: str, plant: Plant) -> BaselineRow:
    by = f"captured by {record['captured_by']}"
    if record["approved_by"]:
        by += f", approved by {record['approved_by']} on {plant.day(record['approved_ms'])}"
    of = " · ".join(
        part for part in (record["mold"], record["material"], record["setup"] or "every set-up") if part
    )
    return BaselineRow(
        no=record["baseline_no"],
        state=record["state"],
        state_text=worded(_STATE, record["state"]),
        of=of,
        span=f"{plant.moment(record['from_ms'])} to {plant.moment(record['to_ms'])}",
        shots=f"{whole(record['shots'])} shots",
        by=by,
        note=record["note"],
        signals=tuple(_signal(name, one, plant.units) for name, one in recorded_signals(record).items()),
        api_href=f"{press_api(press)}/baselines/{record['baseline_no']}",
        may_approve=record["state"] == "draft",
        may_retire=record["state"] == "approved",
    )


def _signal(name: str, one: RecordedSignal, units: Units) -> BaselineSignal:
    places = signal_places(name, units)
    spread = units.shown_difference(signal_quantity(name), one.sigma)
    left_out = ", ".join(f"{count} {worded(_LEAVING_OUT, reason)}" for reason, count in one.left_out.items())
    return BaselineSignal(
        signal=signal_name(name),
        middle=signal_text(name, one.center, units),
        spread=f"{spread:.{places + 1}f}",
        limits=f"{signal_text(name, one.lower, units)} to {signal_text(name, one.upper, units)}",
        shots=whole(one.shots),
        left_out=left_out or "none",
    )


# --- containment ------------------------------------------------------------------------------


def build_containment(
    connection: sa.Connection, plant: Plant, *, since_of: SinceOf = unknown_since
) -> ContainmentPage:
    """What open alarms for a valve make suspect, since when and where it went."""
    states = {row["press_id"]: row for row in accepted_presses(connection)}
    leaks = [alarm for alarm in open_alarms(connection) if alarm["kind"] in SUSPECT_KINDS]
    earliest: dict[int, Row] = {}
    for alarm in leaks:
        known = earliest.get(alarm["press_id"])
        if known is None or alarm["opened_ms"] < known["opened_ms"]:
            earliest[alarm["press_id"]] = alarm
    rows = tuple(
        _suspect(connection, alarm, plant, since_of(alarm["press"]))
        for alarm in earliest.values()
        if alarm["press_id"] in states
    )
    total = len(rows)
    answer = "Nothing is suspect."
    if total:
        verb = plural(total, "press has", "presses have")
        answer = f"{count_word(total, capital=True)} {verb} made suspect parts."
    return ContainmentPage(
        frame=plant.frame("Containment", active="/containment"),
        answer=answer,
        under="Shots since the estimated onset of each open alarm",
        rows=rows,
    )


def _suspect(connection: sa.Connection, alarm: Row, plant: Plant, onset: Since | None) -> SuspectRow:
    # The early end of the interval: better one box too many than one too few.
    # From its opening on, however often it was answered or put aside since.
    opened = int(alarm["opened_ms"])
    since = min(opened, onset.from_ms) if onset else opened
    boxes = boxes_between(connection, alarm["press_id"], from_ms=since, column="box")
    lots = boxes_between(connection, alarm["press_id"], from_ms=since, column="lot")
    reason = "The screw goes to bottom." if alarm["kind"] == "bottoming" else f"{cause_name(alarm['cause'])}."
    query = urlencode({"from": clock.as_text(since), "limit": 10_000})
    return SuspectRow(
        press=f"{alarm['press']} {alarm['name']}".strip(),
        href=press_href(alarm["press"]),
        since=plant.moment(since),
        shots=whole(shots_between(connection, alarm["press_id"], from_ms=since)),
        boxes=boxes_words(boxes),
        lots=", ".join(lots) or "not sent",
        reason=reason,
        csv_href=f"{press_api(alarm['press'])}/shots?{query}",
        file=f"suspect-{alarm['press']}.csv",
    )


def boxes_words(boxes: Sequence[str]) -> str:
    """First to last with their count; few are all named.

    >>> boxes_words(["2207", "2208"]), boxes_words([str(n) for n in range(2207, 2232)]), boxes_words([])
    ('2207, 2208', '2207 to 2231 (25 boxes)', 'not sent')
    """
    if not boxes:
        return "not sent"
    if len(boxes) <= 6:
        return ", ".join(boxes)
    return f"{boxes[0]} to {boxes[-1]} ({len(boxes)} boxes)"
