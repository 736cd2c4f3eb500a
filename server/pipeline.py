"""READ FIRST: what happens to a shot, and what happens when time passes.

1. `take_in`: a batch read by `ingest` is stored with one intake row a press; the caller answers
   once that is durable.
2. `evaluate_one`: a press's intake is evaluated in one snapshot (in a child process, so that ingest
   keeps its core), and the rows land in one transaction together with the alarms they cause.
3. After the commit the hub tells open pages which ids changed.

`tick` does what time alone does: shelving ends, silent presses, escalation. Messages leave in a thread
of their own (`notify/delivery.py`), never inside a transaction.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import cast, get_args

import sqlalchemy as sa

from server.child import Child, Elsewhere
from server.evaluate.press import evaluate_press
from server.events import EventKind
from server.hands import Hands
from server.ingest import receive as ingest
from server.ingest import replay
from server.ingest.batch import ReadBatch
from server.isolation import Isolation
from server.landing import land
from server.measures import Measures
from server.notify.alarms import AlarmChanged, tick
from server.notify.capability import capability_now, react_to_capability
from server.notify.delivery import Courier
from server.notify.held_back import release_due
from server.notify.hub import Hub
from server.notify.outbox import LOG_OUTLET
from server.notify.outlets import LogOutlet
from server.store import evaluation as landed
from server.store import intake, trouble
from server.store.database import BACKGROUND, URGENT, USUAL, Store
from server.store.months import Months
from server.store.plant import all_presses, read_settings
from server.store.relay import WAKE, relay_of
from server.store.turns import PLANT_TURN

log = logging.getLogger("ringtell")

#: Seconds a press whose evaluation failed is left alone; seconds until a lost database is asked again.
REST_AFTER_TROUBLE_S, AWAY_S = 60.0, 1.0
#: Seconds until presses that another server works on are looked at again.
ELSEWHERE_S = 0.05
#: A clock that moved by so much more or less than the time that passed was set.
CLOCK_SET_MS = 60_000
#: Seconds between two looks at rows whose time lay ahead of the clock.
REPLAY_EVERY_S = 30.0
TICK_EVERY_S = 5.0
#: Seconds between two looks at what waits, however often something is told.
LOOK_AGAIN_S = 0.02
#: Presses in hand for each process that computes: one is computed while others are read of and land.
HANDS = 3


class Pipeline:
    """The life of a shot over one store. `now_ms` is the only clock."""

    def __init__(
        self,
        store: Store,
        hub: Hub,
        *,
        now_ms: Callable[[], int],
        child_process: bool,
        courier: Courier | None = None,
        measures: Measures | None = None,
        listen_url: str = "",
        workers: int = 1,
        scheduler: str = "",
    ) -> None:
        self.store = store
        self.hub = hub
        self.now_ms = now_ms
        # Between the servers of one PostgreSQL.
        self.relay = relay_of(store.url, listen_url, self.heard)
        if self.relay is not None:
            hub.relay = self.relay.tell
        self._child: Child | Elsewhere = (
            Elsewhere(store, scheduler) if scheduler else Child(store, apart=child_process, processes=workers)
        )
        self._isolation = Isolation(store, self._child, now_ms=now_ms)
        self.courier = courier or Courier(store, {LOG_OUTLET: LogOutlet()}, now_ms=now_ms)
        self.measures = measures or Measures()
        self._months = Months(store)
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._threads: list[threading.Thread] = []
        # In this process, where nothing computes elsewhere, one after the other.
        hands = HANDS * workers if child_process or scheduler else 1
        self._threads_of_hands = hands
        self._hands = Hands(hands, self._look_at)
        self._resting: dict[int, float] = {}
        self._judged_last = 0
        # A server that was down makes no press silent.
        self._listening_since_ms = now_ms()
        self._ticked = (now_ms(), time.monotonic())
        self._replay_from: replay.Place | None = None
        self._replayed = 0.0
        self._signs: dict[str, float] = {}

    # --- transaction 1 ------------------------------------------------------------------------

    def take_in(
        self, batch: ReadBatch, *, accept_unknown: bool, source: str = "api", import_no: int | None = None
    ) -> ingest.Received:
        """Store a batch; returns when it is durable. Live shots go before those of an import."""
        now_ms = self.now_ms()

        def job(connection: sa.Connection) -> ingest.Received:
            return ingest.receive(
                connection,
                batch,
                accept_unknown=accept_unknown,
                now_ms=now_ms,
                source=source,
                import_no=import_no,
            )

        answer = self.store.write(job, priority=URGENT if import_no is None else USUAL)
        self._count(batch, answer, now_ms=now_ms)
        if answer.presses:
            self._offer(answer.presses)
        return answer

    def _offer(self, presses: Iterable[int]) -> None:
        """Presses with intake: for this server at once where it evaluates, and for any other."""
        if self._threads:
            self._hands.offer(presses)
        if self.relay is not None:
            self.relay.tell(WAKE, "")

    def _count(self, batch: ReadBatch, answer: ingest.Received, *, now_ms: int) -> None:
        outcomes = {"stored": answer.stored, "duplicate": answer.duplicate, "conflict": answer.conflict}
        newest = max((shot.at_ms for shot in batch.shots), default=None)
        lag_s = None if newest is None or not answer.stored else (now_ms - newest) / 1000
        self.measures.took_in({**outcomes, "rejected": len(answer.rejected)}, lag_s=lag_s)

    # --- transaction 2 ------------------------------------------------------------------------

    def evaluate_one(self, press_id: int) -> bool:
        """Evaluate what waits of a press; False when nothing did, or when another server is at it."""
        return self._evaluate(press_id) is not None

    def _evaluate(self, press_id: int) -> landed.Evaluation | None:
        began = time.monotonic()
        with self.store.turn(press_id) as turn:
            evaluation = None if turn is None else self._child.run(evaluate_press, press_id)
            if turn is None or evaluation is None:
                return None
            found, now_ms = evaluation, self.now_ms()
            landing = turn.write(lambda connection: land(connection, found, now_ms=now_ms))
        self.measures.evaluated(time.monotonic() - began)
        self.hub.publish("shots", landing.press)
        self.hub.publish("score", landing.press)
        if evaluation.findings:
            self.hub.publish("finding", landing.press)
        self._tell(landing.changes)
        return evaluation

    def evaluate_all(self) -> None:
        """Evaluate until no intake is left (imports, tests, the command line)."""
        with ThreadPoolExecutor(self._threads_of_hands) as pool:
            while True:
                with self.store.read() as connection:
                    waiting = intake.waiting_presses(connection)
                if not waiting:
                    return
                if not any(list(pool.map(self.evaluate_one, waiting))):
                    time.sleep(ELSEWHERE_S)

    # --- time ---------------------------------------------------------------------------------

    def tick(self) -> None:
        """What time alone does."""
        now_ms = self.now_ms()
        self._watch_clock(now_ms)
        self._tell(
            self.store.write(
                lambda connection: [
                    *tick(
                        connection,
                        now_ms=now_ms,
                        settings=read_settings(connection),
                        listening_since_ms=self._listening_since_ms,
                    ),
                    *release_due(connection, now_ms=now_ms),
                ],
                priority=USUAL,
            )
        )

    def judge_parts(self) -> None:
        """The next press in turn: does it make what its mold demands?"""
        with self.store.read() as connection:
            known = [press.press_id for press in all_presses(connection)]
            if not known:
                return
            self._judged_last = next((one for one in known if one > self._judged_last), known[0])
            condition = capability_now(connection, self._judged_last)
        if condition is not None:
            press_id, now_ms, found = self._judged_last, self.now_ms(), condition
            self._tell(
                self.store.write(
                    lambda connection: react_to_capability(connection, press_id, found, now_ms=now_ms),
                    priority=BACKGROUND,
                )
            )

    def _watch_clock(self, now_ms: int) -> None:
        """A clock that was set makes no press silent: they are listened to anew from now on."""
        before_ms, before = self._ticked
        passed_ms = (time.monotonic() - before) * 1000
        self._ticked = (now_ms, time.monotonic())
        if abs(now_ms - before_ms - passed_ms) > CLOCK_SET_MS:
            log.warning("the clock was set by %.0f s", (now_ms - before_ms - passed_ms) / 1000)
            self._listening_since_ms = now_ms
            self._replayed = 0.0
        if time.monotonic() - self._replayed > REPLAY_EVERY_S:
            self._replayed = time.monotonic()
            self.replay_due()

    def replay_due(self) -> None:
        """Rows that lay ahead of a clock that was wrong are stored once their time has come."""
        now_ms, after = self.now_ms(), self._replay_from
        with self.store.read() as connection:
            due, following = replay.find_due(connection, after=after, now_ms=now_ms)
        if due:
            received = self.store.write(lambda connection: replay.replay(connection, due, now_ms=now_ms))
            log.warning("%d rows that lay ahead of the clock were stored", received.stored)
            self.wake()
        self._replay_from = following

    # --- running ------------------------------------------------------------------------------

    def start(self, *, tick_every_s: float | None = None) -> None:
        """Evaluate, tick, send and hear other servers in threads of their own until `close`."""
        self._make_months()
        if self.relay is not None:
            self.relay.start()
        for name, target in (
            ("evaluate", self._evaluate_loop),
            ("tick", lambda: self._tick_loop(tick_every_s or TICK_EVERY_S)),
            ("courier", lambda: self.courier.run(self._stop)),
        ):
            thread = threading.Thread(target=target, name=f"ringtell-{name}", daemon=True)
            thread.start()
            self._threads.append(thread)

    def _make_months(self) -> None:
        """Before the first shot comes: of a month that is just being made none can be stored."""
        try:
            with self.store.turn(PLANT_TURN) as turn:
                if turn is not None:
                    self._months.before_anybody_writes(self.now_ms())
        except Exception:  # the first tick tries again
            log.exception("the months ahead were not made")

    def wake(self) -> None:
        """There may be intake, for this server or any other."""
        self._wake.set()
        if self.relay is not None:
            self.relay.tell(WAKE, "")

    def heard(self, kind: str, subject: str) -> None:
        """What another server told."""
        if kind == WAKE:
            self._wake.set()
        elif kind in get_args(EventKind):
            self.hub.hear(cast(EventKind, kind), subject)

    def close(self) -> None:
        """Stop the threads and the child; what waits is evaluated after the next start."""
        self._stop.set()
        self._wake.set()
        self.hub.close()
        for thread in self._threads:
            thread.join(timeout=20)
        self._hands.close()
        self._child.close()
        if self.relay is not None:
            self.relay.close()
            self.relay.join()

    def since_sign(self, thread: str) -> float | None:
        """Seconds since a thread (`evaluate`, `tick`) last got somewhere; None when it does not run."""
        running = any(one.name == f"ringtell-{thread}" and one.is_alive() for one in self._threads)
        return time.monotonic() - self._signs.get(thread, time.monotonic()) if running else None

    def _evaluate_loop(self) -> None:
        """What nobody offered: rebuilds, what other servers took in, what waited before the start."""
        while not self._stop.is_set():
            self._wake.clear()
            try:
                with self.store.read() as connection:
                    waiting = intake.waiting_presses(connection)
            except Exception as error:  # whatever it is, the thread that evaluates must outlive it
                log.warning("the database does not answer: %s", getattr(error, "orig", error))
                self._stop.wait(AWAY_S)
                continue
            self._hands.offer(waiting)
            # Hands that do not get on with a press are a sign, too.
            self._signs["evaluate"] = time.monotonic() if self._hands.is_idle() else self._hands.moved
            self._wake.wait(timeout=1.0)
            self._stop.wait(LOOK_AGAIN_S)

    def _look_at(self, press_id: int) -> bool:
        """Evaluate a press; True when there is more to do for it at once."""
        if self._stop.is_set() or self._resting.get(press_id, 0.0) > time.monotonic():
            return False
        try:
            evaluation = self._evaluate(press_id)
        except Exception as error:  # one press's trouble must not stop the others
            return self._failed(press_id, error)
        return evaluation is not None and evaluation.rest_from_ms is not None

    def _failed(self, press_id: int, error: Exception) -> bool:
        """True when the press can be tried again at once. A database that is away is no press's fault."""
        foreseen = trouble.trouble_of(error)
        self.measures.evaluation_failed()
        try:
            if foreseen is None and self._isolation.set_aside(press_id, error):
                return True
        except Exception as another:
            foreseen = trouble.trouble_of(another)
            if foreseen is None:
                log.exception("the shot that press %s fails with was not found", press_id)
        if foreseen is not None:
            log.warning("evaluation waits: %s", foreseen.message)
            self._stop.wait(AWAY_S)
            return False
        self._rest(press_id, error)
        return False

    def _rest(self, press_id: int, error: Exception) -> None:
        log.error("evaluation of press %s failed", press_id, exc_info=error)
        self._resting[press_id] = time.monotonic() + REST_AFTER_TROUBLE_S
        text = f"{type(error).__name__}: {error}"[:500]
        try:
            self.store.write(lambda connection: landed.note_trouble(connection, press_id, text))
        except Exception:
            log.exception("the trouble of press %s could not be noted", press_id)

    def _tick_loop(self, every_s: float) -> None:
        while not self._stop.wait(timeout=every_s):
            self._signs["tick"] = time.monotonic()
            try:
                # Of several servers one does what time alone does.
                with self.store.turn(PLANT_TURN) as turn:
                    if turn is not None:
                        self._months.look_after(self.now_ms())
                        self.tick()
                        self.judge_parts()
            except Exception:  # the next tick tries again
                log.exception("tick failed")

    def _tell(self, changes: list[AlarmChanged]) -> None:
        for change in changes:
            self.measures.alarm_moved(change.action)
        if changes:
            self.hub.publish("alarm", *{change.id for change in changes})
            self.hub.publish("press", *{change.press for change in changes})
