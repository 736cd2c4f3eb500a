"""One run through a file: its rows read, checked and stored, piece by piece."""

import contextlib
import dataclasses
import gc
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from server.ingest.batch import ReadBatch
from server.ingest.receive import Received
from server.ingest.table_plan import Plan
from server.ingest.tables import open_planned
from server.language import N_
from server.pipeline import Pipeline
from server.store import imports, intake

#: Rows of one transaction: few enough that a live shot hardly waits behind them.
PIECE_ROWS: Final = 5_000


@dataclasses.dataclass(frozen=True)
class Outcome:
    """What became of an import's rows."""

    received: int
    stored: int
    duplicate: int
    conflict: int
    rejected: int
    cancelled: bool


def run_import(
    pipeline: Pipeline,
    path: Path,
    plan: Plan,
    *,
    import_no: int,
    report: Callable[[float, Received], None],
    cancelled: Callable[[], bool] = lambda: False,
    piece_rows: int = PIECE_ROWS,
    rows_done: int = 0,
) -> Outcome:
    """Store the rows of a file, piece by piece; `report` hears the share read and each piece's answer.
    rows_done: rows an earlier run of this import has dealt with; it goes on behind them.

    Presses and molds nobody knew are taken into the plant: who imports their file means them.
    """
    table = open_planned(path, plan, received_ms=pipeline.now_ms(), chunk_rows=piece_rows)
    counts = dict.fromkeys(imports.COUNTS, 0)
    stopped = False
    source = imports.source_of(import_no)
    # One piece is stored while the next is read.
    storing: Future[Received] | None = None
    with (
        contextlib.closing(_behind(closable(table.batches), rows_done)) as batches,
        _no_cycle_search(),
        ThreadPoolExecutor(max_workers=1, thread_name_prefix="ringtell-storing") as other,
    ):
        for batch in batches:
            if storing is not None:
                _count(counts, storing.result(), table.progress(), report)
                gc.collect(1)  # what a workbook's reader left behind, young objects only
            storing = other.submit(
                pipeline.take_in, batch, accept_unknown=True, source=source, import_no=import_no
            )
            if cancelled():
                stopped = True
                break
        if storing is not None:
            _count(counts, storing.result(), table.progress(), report)
    return Outcome(**counts, cancelled=stopped)


def _behind(batches: Any, rows_done: int) -> Generator[ReadBatch]:
    """The batches that hold rows after the first `rows_done`. A shot summed over rows may come in a batch
    without rows of its own; where it is stored already it is known again."""
    with contextlib.closing(batches):
        seen = 0
        for batch in batches:
            seen += batch.received
            if seen > rows_done or not batch.received:
                yield batch


def _count(
    counts: dict[str, int], answer: Received, share: float, report: Callable[[float, Received], None]
) -> None:
    for name in imports.COUNTS:
        value = getattr(answer, name)
        counts[name] += len(value) if name == "rejected" else value
    report(share, answer)


@contextlib.contextmanager
def _no_cycle_search() -> Iterator[None]:
    """Millions of short-lived rows, none in a cycle: looking for cycles among them took half of the time."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def closable(batches: Any) -> Any:
    """Generators close; a map or a chain of them needs no closing of its own."""
    return batches if hasattr(batches, "close") else (batch for batch in batches)


def take_back_piece(connection: sa.Connection, number: int, *, now_ms: int) -> int | None:
    """Remove one piece and let its press be evaluated again from there; None when none is left."""
    piece = imports.next_piece(connection, number)
    if piece is None:
        return None
    gone = imports.take_back(connection, number, piece)
    imports.set_newest(connection, piece.press_id)
    intake.add(
        connection, piece.press_id, earliest_ms=piece.from_ms, shots=0, reason="rewrite", now_ms=now_ms
    )
    return gone


def resting_text(number: int, resting: list[imports.RestsOn]) -> str:
    """Why an import is not undone just like that: what people decided on its shots."""
    named = ", ".join(f"{one.kind} {one.number} of {one.press}" for one in resting[:5])
    return N_(
        "import {number} carries {named}: people decided on these shots. Retire the baseline first, or"
        " undo although it is used",
        number=number,
        named=named,
    )
