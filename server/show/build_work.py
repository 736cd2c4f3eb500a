"""The page of startup records; and what forms choose from."""

from collections.abc import Sequence

import sqlalchemy as sa

from server.show.more_pages import (
    BaselineRow,
    BaselineSignal,
    BaselinesPage,
)
from server.show.pages import Choice
from server.show.plant_words import Plant, press_api, press_href
from server.show.press_words import full_name
from server.show.startup_record import RecordedSignal, recorded_signals
from server.store.page_queries import (
    Row,
    accepted_presses,
    baselines_of,
    mold_parts,
    press_with_state,
)
from server.words.catalogue import signal_name, worded
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
