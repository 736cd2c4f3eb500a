"""From a read batch to stored shots: presses known or not, set-ups, duplicates, conflicts, intake.

Everything of one request is one transaction; the answer is given after it is durable.
"""

import collections
import dataclasses
import functools
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.ingest.batch import ReadBatch, ReadShot, RejectedRow, shot_line
from server.ingest.labels import Label
from server.store import clocks, imports, intake, quarantine
from server.store.numbering import lock_table
from server.store.plant import (
    Setup,
    keep_setup,
    put_mold,
    put_press,
    read_settings,
    setup_digest,
)
from server.store.shots import molds_known, note_arrivals, presses_known, setups_known, store_by_press
from server.store.tables import setups


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
    connection: sa.Connection,
    batch: ReadBatch,
    *,
    accept_unknown: bool,
    now_ms: int,
    source: str = "api",
    import_no: int | None = None,
) -> Received:
    """Store a batch; rows that cannot be stored are kept apart with their reason.

    import_no: of the import it belongs to; what it brought is noted in the same transaction.
    """
    apart = [_rejected(row, source, import_no) for row in batch.rejected]
    rejected: list[dict[str, Any]] = [
        {"row": row.row, "field": row.field, "code": row.code, "message": row.message}
        for row in batch.rejected
    ]
    stored = duplicate = conflict = 0
    newest: dict[int, tuple[int, int]] = {}
    groups = _by_press(batch.shots)
    presses = _presses(connection, groups, accept_unknown=accept_unknown, now_ms=now_ms)
    for shots in (shots for code, shots in groups.items() if code not in presses):
        apart += [_of_import(_unknown(shot, source), shot, import_no) for shot in shots]
        rejected += [_unknown_answer(shot) for shot in shots]
    _keep_setups(connection, presses, groups, now_ms=now_ms)
    outcomes = store_by_press(
        connection,
        {
            press_id: [(shot[2], shot[3], _setup_id(shot[1]), *shot[4]) for shot in groups[code]]
            for code, press_id in presses.items()
        },
    )
    arrived: dict[int, tuple[int, int]] = {}
    for code, press_id in presses.items():
        shots, outcome = groups[code], outcomes[press_id]
        stored += outcome.new
        duplicate += len(outcome.duplicates)
        conflict += len(outcome.conflicts)
        apart += [
            _of_import(_conflict(shots[position], source), shots[position], import_no)
            for position in outcome.conflicts
        ]
        if import_no is not None:
            imports.add_piece(connection, import_no, press_id, outcome.keys)
        if outcome.earliest_ms is not None:
            newest[press_id] = max((shot[2], shot[3]) for shot in shots)
            arrived[press_id] = (outcome.earliest_ms, outcome.new)
    intake.add_shots(connection, arrived, now_ms=now_ms)
    note_arrivals(connection, newest, now_ms=now_ms)
    if source == "api":
        clocks.note_lags(connection, newest, now_ms=now_ms)
    quarantine.keep_apart(connection, apart, now_ms=now_ms)
    rejected.sort(key=lambda row: row["row"])
    if import_no is not None:
        counts = (batch.received, stored, duplicate, conflict, len(rejected))
        imports.add_counts(connection, import_no, dict(zip(imports.COUNTS, counts, strict=True)))
    return Received(batch.received, stored, duplicate, conflict, rejected, tuple(arrived))


def _rejected(row: RejectedRow, source: str, import_no: int | None) -> quarantine.Apart:
    return quarantine.Apart(
        press=row.press or "",
        kind="rejected",
        field=row.field,
        code=row.code,
        message=row.message,
        raw=row.raw,
        replayable=row.replayable,
        source=source,
        row_no=None if import_no is None else row.row,
    )


def _of_import(row: quarantine.Apart, shot: ReadShot, import_no: int | None) -> quarantine.Apart:
    return row if import_no is None else dataclasses.replace(row, row_no=shot[0])


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


def _presses(
    connection: sa.Connection, codes: Iterable[str], *, accept_unknown: bool, now_ms: int
) -> dict[str, int]:
    """Numbers of the presses whose shots are taken, by code; what is not in it waits to be accepted."""
    known = presses_known(connection, codes)
    if _missing(codes, known) and (accept_unknown or read_settings(connection)["accept_unknown_presses"]):
        _alone_with_what_is_new(connection)
        known |= presses_known(connection, _missing(codes, known))
        others = _missing(codes, known)
        for code in others:
            put_press(connection, code, {"accepted": True}, now_ms=now_ms)
        known |= presses_known(connection, others)
    return {code: known[code][0] for code in codes if code in known and known[code][1]}


def _missing(codes: Iterable[str], known: Mapping[str, tuple[int, bool]]) -> list[str]:
    return [code for code in codes if code not in known or not known[code][1]]


def _alone_with_what_is_new(connection: sa.Connection) -> None:
    """From here on nobody else makes presses, set-ups or molds from shots, until this is durable.

    Batches of a gateway bring the same new presses at the same moment: without it one of them fails at each
    press that another made first, as often as it is tried again.
    """
    lock_table(connection, setups)


def _keep_setups(
    connection: sa.Connection,
    presses: Mapping[str, int],
    groups: Mapping[str, Sequence[ReadShot]],
    *,
    now_ms: int,
) -> None:
    labels = {id(shot[1]): shot[1] for code in presses for shot in groups[code]}
    keys = {(presses[one.press], _setup_id(one)): one for one in labels.values()}
    kept = setups_known(connection, keys)
    # A mold names itself with its first shot; the quality lead describes it later.
    molds = {label.mold for label in keys.values() if label.mold}
    new_molds = molds - molds_known(connection, molds)
    if new_molds or not keys.keys() <= kept:
        _alone_with_what_is_new(connection)
    for (press_id, setup_id), label in keys.items():
        if (press_id, setup_id) in kept:
            continue
        keep_setup(
            connection,
            Setup(
                press_id=press_id,
                setup_id=setup_id,
                mold=label.mold or "",
                material=label.material or "",
                setup=label.setup or "",
                setpoints=label.setpoints or "{}",
                first_seen_ms=now_ms,
            ),
        )
    for mold in sorted(new_molds - molds_known(connection, new_molds)):
        put_mold(connection, mold, {}, now_ms=now_ms)


def _unknown_text(shot: ReadShot) -> str:
    return (
        f"press {shot[1][0]!r} is not in the plant; its shots are kept until a plant engineer accepts it"
        " (POST /api/v1/presses/{press}/accept)"
    )


def _unknown(shot: ReadShot, source: str) -> quarantine.Apart:
    return quarantine.Apart(
        shot[1][0],
        "unknown_press",
        "press",
        "unknown_press",
        _unknown_text(shot),
        shot_line(shot),
        True,
        source,
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
