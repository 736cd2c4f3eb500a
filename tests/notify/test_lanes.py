"""Messages for different recipients leave side by side: who does not answer delays nobody else."""

import functools
import threading
import time
from collections import Counter
from collections.abc import Callable

from server.notify import delivery
from server.notify.delivery import LANES_MAX, Courier
from server.notify.message import Message
from server.store import outbox as kept
from server.store.database import Store
from tests.notify.plants import MORNING


class Doors:
    """An outlet of which some recipients do not answer until they are let go."""

    def __init__(self, *deaf: str) -> None:
        self.deaf, self.go_on = set(deaf), threading.Event()
        self.sent: Counter[str] = Counter()
        self.at_once, self.most = 0, 0
        self._lock = threading.Lock()

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        with self._lock:
            self.at_once += 1
            self.most = max(self.most, self.at_once)
        try:
            if recipient in self.deaf:
                assert self.go_on.wait(timeout=30)
                raise TimeoutError("timed out")
            with self._lock:
                self.sent[recipient] += 1
        finally:
            with self._lock:
                self.at_once -= 1


def queued(store: Store, *recipients: str, each: int = 1, outlet: str = "webhook") -> None:
    for recipient in recipients:
        for _ in range(each):
            job = functools.partial(kept.queue_test, outlet=outlet, recipient=recipient, now_ms=MORNING)
            store.write(job)


def comes_true(claim: Callable[[], bool], *, within_s: float = 10.0) -> bool:
    until = time.monotonic() + within_s
    while not claim():
        if time.monotonic() > until:
            return False
        time.sleep(0.01)
    return True


def test_a_dead_recipient_with_a_backlog_delays_nobody(any_store: Store) -> None:
    doors, mail = Doors("dead"), Doors()
    queued(any_store, "dead", each=80)
    queued(any_store, "alive", each=3)
    queued(any_store, "line@plant.example", outlet="mail")
    courier = Courier(any_store, {"webhook": doors, "mail": mail}, now_ms=lambda: MORNING)
    stop = threading.Event()
    rounds = threading.Thread(target=courier.run, args=(stop,), kwargs={"every_s": 0.02})
    rounds.start()
    try:
        assert comes_true(lambda: doors.sent["alive"] == 3 and mail.sent["line@plant.example"] == 1)
        # What comes while the dead one is still being waited for leaves, too.
        queued(any_store, "alive")
        assert comes_true(lambda: doors.sent["alive"] == 4)
        assert doors.sent["dead"] == 0
    finally:
        stop.set()
        doors.go_on.set()
        rounds.join(timeout=10)


def test_one_that_fails_is_tried_once_a_round_and_the_others_wait_their_turn(store: Store) -> None:
    doors = Doors("dead")
    doors.go_on.set()
    queued(store, "dead", each=5)
    courier = Courier(store, {"webhook": doors}, now_ms=lambda: MORNING, chance=lambda: 1.0)
    assert courier.round() == 0
    with store.read() as connection:
        tries = [one.tries for one in kept.messages(connection, which="waiting")]
    assert sorted(tries) == [0, 0, 0, 0, 1]


def test_no_more_than_so_many_are_sent_to_at_once_and_all_get_theirs(store: Store) -> None:
    doors = Doors(*(f"a slow one {number}" for number in range(LANES_MAX + 3)))
    quick = [f"quick{number}" for number in range(5)]
    queued(store, *sorted(doors.deaf), *quick)
    courier = Courier(store, {"webhook": doors}, now_ms=lambda: MORNING)
    begun = courier.begin()
    assert len(begun) == LANES_MAX
    assert comes_true(lambda: doors.most == LANES_MAX)
    assert courier.begin() == {}
    doors.go_on.set()
    for sending in begun.values():
        sending.thread.join(timeout=10)
    assert courier.round() == len(quick)
    assert doors.most <= LANES_MAX
    assert set(doors.sent) == set(quick)


def test_messages_for_one_recipient_keep_their_order(store: Store) -> None:
    class Listening:
        def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
            order.append(message.id)

    order: list[str] = []
    queued(store, "line", each=delivery.ROUND_MAX + 5)
    with store.read() as connection:
        wanted = [one.message_id for one in kept.due_messages(connection, now_ms=MORNING)]
    courier = Courier(store, {"webhook": Listening()}, now_ms=lambda: MORNING)
    assert (courier.round(), courier.round(), courier.round()) == (delivery.ROUND_MAX, 5, 0)
    assert order == wanted
