"""Imports of files from upload to undo: one at a time, in a thread of its own, followed from anywhere.

Each piece of an import is one transaction: its shots, the rows kept apart, the keys it brought and the
counts people see. A stopped or killed server leaves an import in the middle; where its file outlives the
server it goes on from the piece after the last one stored. Undoing takes back exactly what it brought.
"""

import functools
import json
import logging
import queue
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from server.errors import ConflictError, InvalidError, NotFoundError, RingtellError
from server.import_files import ImportFiles
from server.import_holds import ImportHolds
from server.import_run import closable, resting_text, run_import, take_back_piece
from server.ingest.receive import Received
from server.ingest.survey import Survey, survey
from server.ingest.table_plan import Plan, document_of, plan_of
from server.ingest.tables import open_planned
from server.language import N_
from server.pipeline import Pipeline
from server.store import imports
from server.store.audit import PLANT, add_audit
from server.store.database import BACKGROUND

log = logging.getLogger("ringtell.import")

#: How long a file waits to be stored, and how many may wait: each is as large as a file may be.
WAITS_MS: Final = 24 * 3_600_000
WAITING_MAX: Final = 20


class ImportJobs:
    """The imports of one server."""

    def __init__(self, pipeline: Pipeline, files: ImportFiles) -> None:
        self._pipeline = pipeline
        self._store = pipeline.store
        self._files = files
        self._holds = ImportHolds(pipeline.store, now_ms=pipeline.now_ms)
        self._stopping = threading.Event()
        self._queue: queue.Queue[Callable[[], None] | None] = queue.Queue()
        self._shares: dict[int, float] = {}
        self._cancelled: set[int] = set()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    # --- life -------------------------------------------------------------------------------

    def start(self) -> None:
        """Go on with what an earlier server left in the middle; what cannot go on is said to have failed.

        What another server is at stays with it, and is taken over once that one is gone.
        """
        with self._store.read() as connection:
            known = imports.unended(connection)
        # Where there may be other servers, a file that is not whole yet may be on its way to one of them.
        kept = [self._path(one) for one in known if not self._store.is_sqlite or self._is_whole(one)]
        self._files.forget_all_but(kept)
        self._take_over(known)
        self._holds.start(look=self._look_again, cancelled=self._cancelled.update)

    def _look_again(self) -> None:
        with self._store.read() as connection:
            self._take_over(imports.unended(connection))

    def _take_over(self, known: list[imports.Import]) -> None:
        left = [one for one in self._holds.free_of(known) if one.import_no not in self._shares]
        kept = {one.import_no: self._path(one) for one in left if self._is_whole(one)}
        gone = [
            one.import_no
            for one in left
            if one.import_no not in kept and one.state != "undoing" and self._holds.is_missed(one)
        ]
        if gone:
            now_ms = self._pipeline.now_ms()
            self._store.write(lambda connection: imports.end_left_over(connection, gone, now_ms=now_ms))
            log.warning("%d imports were left in the middle and their files are gone", len(gone))
        for one in sorted(left, key=lambda one: one.import_no):
            if one.import_no in gone or not (one.import_no in kept or one.state == "undoing"):
                continue
            if not self._holds.take(one.import_no):
                continue
            if one.state == "undoing":
                self._shares[one.import_no] = 0.0
                self._later(functools.partial(self._undo, one.import_no))
            elif one.state in ("waiting", "running"):
                log.warning("import %d goes on behind row %d", one.import_no, one.received)
                self._shares[one.import_no] = 0.0
                self._later(functools.partial(self._go_on, one, kept[one.import_no]))

    def _go_on(self, one: imports.Import, path: Path) -> None:
        try:
            plan = plan_of(one.options)
        except RingtellError as error:  # written by another version, which knew other options
            self._end(one.import_no, "failed", error.message)
            return
        self._run(one.import_no, path, plan, rows_done=one.received)

    def close(self) -> None:
        """Stop after the piece under way; it goes on when the server comes back, where its file does."""
        if self._files.outlive:
            self._stopping.set()
        self._holds.stop()
        with self._lock:
            thread, self._thread = self._thread, None
        if thread is not None:
            self._cancelled.update(self._shares)
            self._queue.put(None)
            thread.join(timeout=30)
        self._holds.let_go()
        self._files.close()

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
        # A name is shown, logged and kept: signs that cannot be printed turn text around or end lines.
        printed = "".join(sign if sign.isprintable() else "\ufffd" for sign in file_name)
        name = Path(printed.replace("\\", "/")).name[-200:] or "file"
        now_ms = self._pipeline.now_ms()
        self._forget_forgotten(now_ms)
        number = self._store.write(
            lambda connection: imports.add_import(connection, file_name=name, size=0, who=who, now_ms=now_ms)
        )
        self._holds.hold(number)
        return number, self._files.path_of(number, name)

    def _forget_forgotten(self, now_ms: int) -> None:
        """Files nobody stored within a day go; too many that wait are refused with the way out."""
        with self._store.read() as connection:
            waiting = imports.unended(connection)
        old = [one for one in waiting if one.state == "uploaded" and one.created_ms < now_ms - WAITS_MS]
        for one in old:
            self.forget_upload(one.import_no, "nobody stored it within a day; bring the file again")
        kept = [self._path(one) for one in waiting]
        self._files.forget_all_but(kept, before_ms=now_ms - WAITS_MS)
        if len(waiting) - len(old) >= WAITING_MAX:
            raise ConflictError(
                N_(
                    "{waiting} files wait to be stored, at most {waiting_max} may; store or give up one"
                    " of them first",
                    waiting=len(waiting) - len(old),
                    waiting_max=WAITING_MAX,
                ),
                field="file",
            )

    def _path(self, one: imports.Import) -> Path:
        return self._files.path_of(one.import_no, one.file_name)

    def _is_whole(self, one: imports.Import) -> bool:
        """Whether the file is there with all bytes that came; an upload cut off by a kill has no size yet."""
        path = self._path(one)
        return path.is_file() and path.stat().st_size == one.size > 0

    def uploaded(self, number: int, size: int) -> imports.Import:
        self._store.write(lambda connection: imports.change_import(connection, number, size=size))
        return self.need(number)

    def forget_upload(self, number: int, trouble: str) -> None:
        """The bytes did not come whole."""
        one = self.need(number)
        self._path(one).unlink(missing_ok=True)
        self._end(number, "failed", trouble)

    def need(self, number: int) -> imports.Import:
        with self._store.read() as connection:
            found = imports.import_by_no(connection, number)
        if found is None:
            raise NotFoundError(N_("there is no import {number}", number=number), field="import")
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
        path = self._path(one)
        if not path.is_file():
            raise ConflictError(
                N_(
                    "the file of import {number} is not kept any more; choose it again to look at it",
                    number=number,
                ),
                field="import",
            )
        return path

    # --- acting -----------------------------------------------------------------------------

    def begin(self, number: int, options: Mapping[str, Any], *, who: str) -> imports.Import:
        """Store the file's rows as the options say; answers at once."""
        plan = plan_of(options)
        path = self._file_of(number)
        open_ = open_planned(path, plan, received_ms=self._pipeline.now_ms())
        closable(open_.batches).close()
        self._check_answered(path, plan)

        def claim(connection: sa.Connection) -> None:
            one = imports.import_by_no(connection, number)
            if one is None or one.state not in ("uploaded", "cancelled", "failed", "undone"):
                state = "gone" if one is None else one.state
                raise ConflictError(
                    N_("import {number} is {state}; a file is stored once", number=number, state=state),
                    field="import",
                )
            now_ms = self._pipeline.now_ms()
            fresh = dict.fromkeys(imports.COUNTS, 0)
            imports.change_import(
                connection, number, state="waiting", options=document_of(plan), trouble="",
                started_ms=now_ms, ended_ms=None, undone_ms=None, undone_by="", **fresh,
            )  # fmt: skip
            add_audit(connection, PLANT, now_ms=now_ms, who=who, action="import_started",
                      subject=f"import {number}", after={"file": one.file_name})  # fmt: skip

        self._store.write(claim)
        self._holds.hold(number)
        self._shares[number] = 0.0
        self._cancelled.discard(number)
        self._later(lambda: self._run(number, path, plan))
        return self.need(number)

    def _check_answered(self, path: Path, plan: Plan) -> None:
        """Refuses to guess what the file leaves open about its times."""
        found = survey(path, plan, received_ms=self._pipeline.now_ms())
        for question in found.questions:
            if question.code == "time_zone":
                raise InvalidError(N_("the times have no offset; say whose time it is"), field="time_zone")
            if question.code == "date_order":
                raise InvalidError(
                    N_("the dates can be read day first or month first; say which"), field="date_order"
                )

    def _run(self, number: int, path: Path, plan: Plan, *, rows_done: int = 0) -> None:
        def report(share: float, _answer: Received) -> None:
            self._shares[number] = share

        if self._stopping.is_set():
            return
        try:
            self._store.write(lambda connection: imports.change_import(connection, number, state="running"))
            outcome = run_import(
                self._pipeline, path, plan,
                import_no=number, report=report, cancelled=lambda: number in self._cancelled,
                rows_done=rows_done,
            )  # fmt: skip
        except RingtellError as error:
            if not self._stopping.is_set():  # else it goes on with the next start
                self._end(number, "failed", error.message)
            return
        except Exception as error:  # unforeseen: the import says so, the server goes on
            log.exception("import %d failed", number)
            self._end(number, "failed", f"{type(error).__name__}: {error}"[:500])
            return
        if outcome.cancelled and self._stopping.is_set():
            return  # it stands as running, and goes on with the next start
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
        self._holds.let_go(number)

    def cancel(self, number: int, *, who: str) -> imports.Import:
        """Stop after the piece under way; what is stored stays until it is undone."""
        one = self.need(number)
        if one.state == "uploaded":
            self.forget_upload(number, "given up before it was stored")
        elif one.state in ("waiting", "running"):
            self._cancelled.add(number)
            self._holds.ask_to_cancel(number)
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
                raise NotFoundError(N_("there is no import {number}", number=number), field="import")
            if one.state not in imports.UNDOABLE:
                raise ConflictError(
                    N_(
                        "import {number} is {state}; only what was stored can be undone",
                        number=number,
                        state=one.state,
                    )
                )
            resting = imports.rests_on(connection, number)
            if resting and not although_used:
                raise ConflictError(resting_text(number, resting), field="although_used")
            now_ms = self._pipeline.now_ms()
            imports.change_import(connection, number, state="undoing", undone_by=who)
            named = [f"{one.press} {one.kind} {one.number}" for one in resting]
            add_audit(
                connection, PLANT, now_ms=now_ms, who=who, action="import_undone", subject=f"import {number}",
                before={"stored": one.stored, "file": one.file_name},
                after={"although_used": although_used, "rests": named},
            )  # fmt: skip

        self._store.write(claim)
        self._holds.hold(number)
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
                lambda connection: take_back_piece(connection, number, now_ms=self._pipeline.now_ms()),
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
        self._holds.let_go(number)
        self._pipeline.wake()


def options_text(plan: Plan) -> str:
    """A plan as a file for `--mapping`."""
    return json.dumps(document_of(plan), indent=2, sort_keys=True, ensure_ascii=False)
