"""From a read batch to stored shots: presses known or not, set-ups, duplicates, conflicts, intake.

Everything of one request is one transaction; the answer is given after it is durable.
"""

import collections
import dataclasses
import functools
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from server.ingest.batch import ReadBatch, ReadShot, shot_line
from server.ingest.labels import Label
from server.store import intake, quarantine
from server.store.plant import (
    Press,
    Setup,
    keep_setup,
    mold_by_code,
    press_by_code,
    put_mold,
    put_press,
    read_settings,
    setup_digest,
)
from server.store.shots import note_arrival, store_shots


@dataclasses.dataclass(frozen=True)
class Received:
    """What became of a request's rows. `presses`: ids whose shots wait for evaluation."""

    received: int
    stored: int
    duplicate: int
    conflict: int
    rejected: list[dict[str, Any]]
    presses: tuple[int, ...]


@functools.lru_cache(maxsize=4096)
def _setup_id(label: Label) -> int:
    return setup_digest(label.mold or "", label.material or "", label.setup or "", label.setpoints or "{}")


def presses_named(batch: ReadBatch) -> set[str]:
    """Codes of every press a batch speaks of, rejected rows included."""
    labels = {id(shot.label): shot.label.press for shot in batch.shots}
    return set(labels.values()) | {row.press for row in batch.rejected if row.press}


def receive(
    connection: sa.Connection, batch: ReadBatch, *, accept_unknown: bool, now_ms: int, source: str = "api"
) -> Received:
    """Store a batch; rows that cannot be stored are kept apart with their reason."""
    apart = [
        quarantine.Apart(
            press=row.press or "",
            kind="rejected",
            field=row.field,
            code=row.code,
            message=row.message,
            raw=row.raw,
            replayable=row.replayable,
            source=source,
        )
        for row in batch.rejected
    ]
    rejected = [
        {"row": row.row, "field": row.field, "code": row.code, "message": row.message} for row in batch.rejected
    ]
    stored = duplicate = conflict = 0
    waiting: list[int] = []
    for code, shots in _by_press(batch.shots).items():
        press = _press(connection, code, accept_unknown=accept_unknown, now_ms=now_ms)
        if press is None:
            apart += [_unknown(shot, source) for shot in shots]
            rejected += [_unknown_answer(shot) for shot in shots]
            continue
        _keep_setups(connection, press, shots, now_ms=now_ms)
        outcome = store_shots(
            connection,
            press.press_id,
            [(shot[2], shot[3], _setup_id(shot[1]), *shot[4]) for shot in shots],
        )
        stored += outcome.new
        duplicate += len(outcome.duplicates)
        conflict += len(outcome.conflicts)
        apart += [_conflict(shots[position], source) for position in outcome.conflicts]
        if outcome.earliest_ms is not None:
            _note(connection, press, shots, outcome.new, outcome.earliest_ms, now_ms=now_ms)
            waiting.append(press.press_id)
    quarantine.keep_apart(connection, apart, now_ms=now_ms)
    rejected.sort(key=lambda row: row["row"])
    return Received(batch.received, stored, duplicate, conflict, rejected, tuple(waiting))


def accept_press(connection: sa.Connection, code: str, *, now_ms: int) -> list[str]:
    """Take an unknown press into the plant; its waiting rows come back as NDJSON lines to be received."""
    put_press(connection, code, {"accepted": True}, now_ms=now_ms)
    rows = quarantine.replayable_rows(connection, code, kind="unknown_press")
    quarantine.forget_rows(connection, code, [row["row_id"] for row in rows])
    return [row["raw"] for row in rows]


def _by_press(shots: Sequence[ReadShot]) -> dict[str, list[ReadShot]]:
    grouped: dict[str, list[ReadShot]] = collections.defaultdict(list)
    for shot in shots:
        grouped[shot[1][0]].append(shot)
    return grouped


def _press(connection: sa.Connection, code: str, *, accept_unknown: bool, now_ms: int) -> Press | None:
    press = press_by_code(connection, code)
    if press is not None and press.accepted:
        return press
    if accept_unknown or read_settings(connection)["accept_unknown_presses"]:
        put_press(connection, code, {"accepted": True}, now_ms=now_ms)
        return press_by_code(connection, code)
    return None


def _keep_setups(
    connection: sa.Connection, press: Press, shots: Sequence[ReadShot], *, now_ms: int
) -> None:
    for label in {id(shot[1]): shot[1] for shot in shots}.values():
        keep_setup(
            connection,
            Setup(
                press_id=press.press_id,
                setup_id=_setup_id(label),
                mold=label.mold or "",
                material=label.material or "",
                setup=label.setup or "",
                setpoints=label.setpoints or "{}",
                first_seen_ms=now_ms,
            ),
        )
        if label.mold and mold_by_code(connection, label.mold) is None:
            # A mold names itself with its first shot; the quality lead describes it later.
            put_mold(connection, label.mold, {}, now_ms=now_ms)


def _note(
    connection: sa.Connection, press: Press, shots: Sequence[ReadShot], new: int, earliest_ms: int, *, now_ms: int
) -> None:
    last = max(shots, key=lambda shot: (shot[2], shot[3]))
    note_arrival(connection, press.press_id, last_shot_ms=last[2], last_counter=last[3], now_ms=now_ms)
    intake.add(
        connection, press.press_id, earliest_ms=earliest_ms, shots=new, reason="shots", now_ms=now_ms
    )


def _unknown_text(shot: ReadShot) -> str:
    return (
        f"press {shot[1][0]!r} is not in the plant; its shots are kept until a plant engineer accepts it"
        " (POST /api/v1/presses/{press}/accept)"
    )


def _unknown(shot: ReadShot, source: str) -> quarantine.Apart:
    return quarantine.Apart(
        shot[1][0], "unknown_press", "press", "unknown_press", _unknown_text(shot), shot_line(shot), True, source
    )


def _unknown_answer(shot: ReadShot) -> dict[str, Any]:
    return {"row": shot[0], "field": "press", "code": "unknown_press", "message": _unknown_text(shot)}


def _conflict(shot: ReadShot, source: str) -> quarantine.Apart:
    return quarantine.Apart(
        press=shot[1][0],
        kind="conflict",
        field="counter",
        code="conflict",
        message=f"counter {shot[3]} at this time is stored already with other values; the first stays",
        raw=shot_line(shot),
        source=source,
    )
