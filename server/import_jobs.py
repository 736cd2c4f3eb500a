"""Imports of files from upload to undo: one at a time, in a thread of its own, followed from anywhere.

Each piece of an import is one transaction: its shots, the rows kept apart, the keys it brought and the
counts people see. A stopped server leaves an import in the middle; what it stored stays, importing the
file again knows it again, and undoing takes back exactly what it brought.
"""

import contextlib
import dataclasses
import gc
import json
import logging
import queue
import shutil
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from server.errors import ConflictError, InvalidError, NotFoundError, RingtellError
from server.ingest.receive import Received
from server.ingest.survey import Survey, survey
from server.ingest.table_plan import Plan, document_of, plan_of
from server.ingest.tables import open_planned
from server.pipeline import Pipeline
from server.store import imports, intake
from server.store.audit import PLANT, add_audit
from server.store.database import BACKGROUND

log = logging.getLogger("ringtell.import")

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
) -> Outcome:
    """Store the rows of a file, piece by piece; `report` hears the share read and each piece's answer.

    Presses and molds nobody knew are taken into the plant: who imports their file means them.
    """
    table = open_planned(path, plan, received_ms=pipeline.now_ms(), chunk_rows=piece_rows)
    counts = dict.fromkeys(imports.COUNTS, 0)
    stopped = False
    source = imports.source_of(import_no)
    # One piece is stored while the next is read.
    storing: Future[Received] | None = None
    with (
        contextlib.closing(_closable(table.batches)) as batches,
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


def _closable(batches: Any) -> Any:
    """Generators close; a map or a chain of them needs no closing of its own."""
    return batches if hasattr(batches, "close") else (batch for batch in batches)


class ImportJobs:
    """The imports of one server."""

    def __init__(self, pipeline: Pipeline) -> None:
        self._pipeline = pipeline
        self._store = pipeline.store
        self._folder: Path | None = None
        self._queue: queue.Queue[Callable[[], None] | None] = queue.Queue()
        self._shares: dict[int, float] = {}
        self._cancelled: set[int] = set()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    # --- life -------------------------------------------------------------------------------

    def start(self) -> None:
        """What an earlier server left in the middle is said to have failed."""
        now_ms = self._pipeline.now_ms()
        left = self._store.write(lambda connection: imports.end_left_over(connection, now_ms=now_ms))
        if left:
            log.warning("%d imports were left in the middle by a server that stopped", left)

    def close(self) -> None:
        """Stop after the piece under way."""
        with self._lock:
            thread, self._thread = self._thread, None
        if thread is not None:
            self._cancelled.update(self._shares)
            self._queue.put(None)
            thread.join(timeout=30)
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _later(self, job: Callable[[], None]) -> None:
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="ringtell-import", daemon=True)
                self._thread.start()
        self._queue.put(job)

    def _work(self) -> None:
        while (job := self._queue.get()) is not None:
            try:
                job()
            except Exception:  # each job notes its own trouble; this one could not even do that
                log.exception("an import could not be ended")

    # --- the file ---------------------------------------------------------------------------

    def new_upload(self, file_name: str, *, who: str) -> tuple[int, Path]:
        """A number for a file, and where its bytes go; `uploaded` says how many came."""
        name = Path(file_name.replace("\\", "/")).name[-200:] or "file"
        now_ms = self._pipeline.now_ms()
        number = self._store.write(
            lambda connection: imports.add_import(connection, file_name=name, size=0, who=who, now_ms=now_ms)
        )
        return number, self._path(number, name)

    def _path(self, number: int, name: str) -> Path:
        with self._lock:
            if self._folder is None:
                self._folder = Path(tempfile.mkdtemp(prefix="ringtell-import-"))
        # The file's own name stays out of the path; its suffix tells the kind.
        return self._folder / f"{number}{Path(name).suffix.lower()[:10]}"

    def uploaded(self, number: int, size: int) -> imports.Import:
        self._store.write(lambda connection: imports.change_import(connection, number, size=size))
        return self.need(number)

    def forget_upload(self, number: int, trouble: str) -> None:
        """The bytes did not come whole."""
        one = self.need(number)
        self._path(number, one.file_name).unlink(missing_ok=True)
        self._end(number, "failed", trouble)

    def need(self, number: int) -> imports.Import:
        with self._store.read() as connection:
            found = imports.import_by_no(connection, number)
        if found is None:
            raise NotFoundError(f"there is no import {number}", field="import")
        return found

    def share_of(self, one: imports.Import) -> float:
        """How far an import is, 0 to 1."""
        if one.state in ("done", "undone"):
            return 1.0
        return self._shares.get(one.import_no, 0.0)

    def look(self, number: int, options: Mapping[str, Any]) -> Survey:
        """What the file holds, read as the options say."""
        plan = plan_of(options)
        return survey(self._file_of(number), plan, received_ms=self._pipeline.now_ms())

    def _file_of(self, number: int) -> Path:
        one = self.need(number)
        path = self._path(number, one.file_name)
        if not path.is_file():
            raise ConflictError(
                f"the file of import {number} is not kept any more; choose it again to look at it",
                field="import",
            )
        return path

    # --- acting -----------------------------------------------------------------------------

    def begin(self, number: int, options: Mapping[str, Any], *, who: str) -> imports.Import:
        """Store the file's rows as the options say; answers at once."""
        plan = plan_of(options)
        path = self._file_of(number)
        open_ = open_planned(path, plan, received_ms=self._pipeline.now_ms())
        _closable(open_.batches).close()
        self._check_answered(path, plan)

        def claim(connection: sa.Connection) -> None:
            one = imports.import_by_no(connection, number)
            if one is None or one.state not in ("uploaded", "cancelled", "failed", "undone"):
                state = "gone" if one is None else one.state
                raise ConflictError(f"import {number} is {state}; a file is stored once", field="import")
            now_ms = self._pipeline.now_ms()
            fresh = dict.fromkeys(imports.COUNTS, 0)
            imports.change_import(
                connection, number, state="waiting", options=document_of(plan), trouble="",
                started_ms=now_ms, ended_ms=None, undone_ms=None, undone_by="", **fresh,
            )  # fmt: skip
            add_audit(connection, PLANT, now_ms=now_ms, who=who, action="import_started",
                      subject=f"import {number}", after={"file": one.file_name})  # fmt: skip

        self._store.write(claim)
        self._shares[number] = 0.0
        self._cancelled.discard(number)
        self._later(lambda: self._run(number, path, plan))
        return self.need(number)

    def _check_answered(self, path: Path, plan: Plan) -> None:
        """Refuses to guess what the file leaves open about its times."""
        found = survey(path, plan, received_ms=self._pipeline.now_ms())
        for question in found.questions:
            if question.code == "time_zone":
                raise InvalidError("the times have no offset; say whose time it is", field="time_zone")
            if question.code == "date_order":
                raise InvalidError(
                    "the dates can be read day first or month first; say which", field="date_order"
                )

    def _run(self, number: int, path: Path, plan: Plan) -> None:
        def report(share: float, _answer: Received) -> None:
            self._shares[number] = share

        try:
            self._store.write(lambda connection: imports.change_import(connection, number, state="running"))
            outcome = run_import(
                self._pipeline, path, plan,
                import_no=number, report=report, cancelled=lambda: number in self._cancelled,
            )  # fmt: skip
        except RingtellError as error:
            self._end(number, "failed", error.message)
            return
        except Exception as error:  # unforeseen: the import says so, the server goes on
            log.exception("import %d failed", number)
            self._end(number, "failed", f"{type(error).__name__}: {error}"[:500])
            return
        self._end(number, "cancelled" if outcome.cancelled else "done", "")
        if not outcome.cancelled:
            path.unlink(missing_ok=True)

    def _end(self, number: int, state: str, trouble: str) -> None:
        now_ms = self._pipeline.now_ms()
        self._store.write(
            lambda connection: imports.change_import(
                connection, number, state=state, trouble=trouble, ended_ms=now_ms
            )
        )
        self._shares.pop(number, None)

    def cancel(self, number: int, *, who: str) -> imports.Import:
        """Stop after the piece under way; what is stored stays until it is undone."""
        one = self.need(number)
        if one.state == "uploaded":
            self.forget_upload(number, "given up before it was stored")
        elif one.state in ("waiting", "running"):
            self._cancelled.add(number)
            now_ms = self._pipeline.now_ms()
            self._store.write(
                lambda connection: add_audit(connection, PLANT, now_ms=now_ms, who=who,
                                             action="import_cancelled", subject=f"import {number}")
            )  # fmt: skip
        return self.need(number)

    # --- undo -------------------------------------------------------------------------------

    def undo(self, number: int, *, who: str, although_used: bool) -> imports.Import:
        """Take back every shot an import brought; answers at once, the shots go piece by piece.

        Refused where an approved baseline or an answered alarm rests on them, unless `although_used`.
        """

        def claim(connection: sa.Connection) -> None:
            one = imports.import_by_no(connection, number)
            if one is None:
                raise NotFoundError(f"there is no import {number}", field="import")
            if one.state not in imports.UNDOABLE:
                raise ConflictError(f"import {number} is {one.state}; only what was stored can be undone")
            resting = imports.rests_on(connection, number)
            if resting and not although_used:
                raise ConflictError(_resting(number, resting), field="although_used")
            now_ms = self._pipeline.now_ms()
            imports.change_import(connection, number, state="undoing", undone_by=who)
            named = [f"{one.press} {one.kind} {one.number}" for one in resting]
            add_audit(
                connection, PLANT, now_ms=now_ms, who=who, action="import_undone", subject=f"import {number}",
                before={"stored": one.stored, "file": one.file_name},
                after={"although_used": although_used, "rests": named},
            )  # fmt: skip

        self._store.write(claim)
        self._shares[number] = 0.0
        self._later(lambda: self._undo(number))
        return self.need(number)

    def _undo(self, number: int) -> None:
        try:
            self._take_back(number)
        except Exception as error:
            text = f"{type(error).__name__}: {error}; undo it again"[:500]
            self._store.write(lambda connection: imports.change_import(connection, number, trouble=text))
            raise

    def _take_back(self, number: int) -> None:
        one, gone = self.need(number), 0
        while True:
            done = self._store.write(
                lambda connection: _take_back_piece(connection, number, now_ms=self._pipeline.now_ms()),
                priority=BACKGROUND,
            )
            if done is None:
                break
            gone += done
            self._shares[number] = min(1.0, gone / max(1, one.stored))
            self._pipeline.wake()
        now_ms = self._pipeline.now_ms()

        def end(connection: sa.Connection) -> None:
            imports.forget_rejected(connection, one, now_ms=now_ms)
            imports.change_import(connection, number, state="undone", undone_ms=now_ms, trouble="")

        self._store.write(end)
        self._shares.pop(number, None)
        self._pipeline.wake()


def _take_back_piece(connection: sa.Connection, number: int, *, now_ms: int) -> int | None:
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


def _resting(number: int, resting: list[imports.RestsOn]) -> str:
    named = ", ".join(f"{one.kind} {one.number} of {one.press}" for one in resting[:5])
    return (
        f"import {number} carries {named}: people decided on these shots. Retire the baseline first, or"
        " undo although it is used"
    )


def options_text(plan: Plan) -> str:
    """A plan as a file for `--mapping`."""
    return json.dumps(document_of(plan), indent=2, sort_keys=True, ensure_ascii=False)
