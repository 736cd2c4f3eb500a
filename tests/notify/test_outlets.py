"""Messages that leave: by mail and webhook, once a step, again after trouble, and across a restart."""

import dataclasses
import functools
import http.server
import json
import logging
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from server.errors import InvalidError
from server.notify import acts, routing
from server.notify.alarms import react, tick
from server.notify.conditions import Condition
from server.notify.delivery import CLAIM_LOST_MS, FIRST_PAUSE_MS, TRIES_MAX, Courier, pause_ms
from server.notify.message import Message
from server.notify.outlets import LogOutlet, MailOutlet, Outlet, outlets_of
from server.notify.routing import Wanted
from server.notify.webhook import WebhookOutlet, allowed_address, digest_of, read_target
from server.settings import Settings
from server.store import live_questions
from server.store import outbox as kept
from server.store.audit import PLANT, audit_of
from server.store.database import Store
from server.store.plant import PLANT_DEFAULTS, need_press, put_press
from tests.notify.mail_server import Box, mail_server, own_certificate
from tests.notify.plants import MINUTE, MORNING

LEAK = Condition("leak", True, True, "now", "steady_leak", {"likelihood": 0.95})
GONE = Condition("leak", False)
SECRET = "heron-teasel-42"


@dataclasses.dataclass
class Clock:
    now: int = MORNING

    def __call__(self) -> int:
        return self.now


class Deaf:
    """An outlet that fails."""

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        raise ConnectionRefusedError(111, "Connection refused")


def plant(store: Store, outlets: dict[str, Outlet], *wanted: Wanted) -> None:
    """A press of hall A and some routes."""

    def fill(connection: Any) -> None:
        put_press(connection, "P07", {"name": "Thistle", "area": "Hall A"}, now_ms=MORNING)
        for one in wanted:
            routing.add(connection, one, outlets=outlets, who="ada", now_ms=MORNING)

    store.write(fill)


def look(store: Store, condition: Condition, *, at_ms: int, suppressed_by: str = "") -> None:
    store.write(
        lambda c: react(c, need_press(c, "P07"), condition, now_ms=at_ms, suppressed_by=suppressed_by)
    )


def outbox(store: Store, which: str) -> list[kept.Queued]:
    with store.read() as connection:
        return kept.messages(connection, which=which)


def test_a_mail_says_what_happened_and_what_to_do_and_leaves_once(store: Store) -> None:
    box = Box()
    with mail_server(box) as port:
        mail = MailOutlet("127.0.0.1", port, "none", "", "", "ringtell@plant.example")
        outlets: dict[str, Outlet] = {"mail": mail, "log": LogOutlet()}
        plant(store, outlets, Wanted("mail", "line@plant.example", area="Hall A", urgency="now"))
        look(store, LEAK, at_ms=MORNING)
        courier = Courier(store, outlets, now_ms=Clock(), page="https://ringtell.plant.example")
        assert courier.round() == 2
        assert courier.round() == 0
    (mail_read,) = box.mails
    assert mail_read["Subject"] == "now: P07 Thistle, leak (new alarm)"
    assert (mail_read["To"], mail_read["Auto-Submitted"]) == ("line@plant.example", "auto-generated")
    text = mail_read.get_content()
    assert "At the press: " in text
    assert "https://ringtell.plant.example/alarms" in text
    assert "site's own safety procedures" in text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\x0b", "\x85", "\u2028"])
def test_no_name_of_a_press_keeps_its_mails_back_or_adds_a_header(store: Store, end: str) -> None:
    box = Box()
    with mail_server(box) as port:
        mail = MailOutlet("127.0.0.1", port, "none", "", "", "ringtell@plant.example")
        plant(store, {"mail": mail}, Wanted("mail", "line@plant.example"))
        store.write(lambda c: put_press(c, "P07", {"name": f"T{end}Bcc: all@x.example"}, now_ms=MORNING))
        look(store, LEAK, at_ms=MORNING)
        Courier(store, {"mail": mail}, now_ms=Clock()).round()
    (mail_read,) = box.mails
    assert mail_read["Subject"] == "now: P07 T Bcc: all@x.example, leak (new alarm)"
    assert mail_read["Bcc"] is None
    assert outbox(store, "waiting") == []


def test_a_login_goes_through_an_encrypted_connection_to_a_believed_server_only(
    store: Store, tmp_path: Path
) -> None:
    box, certificate = Box(), own_certificate(tmp_path)
    with mail_server(box, certificate=certificate) as port:
        told = {
            "RINGTELL_SMTP_HOST": "localhost",
            "RINGTELL_SMTP_PORT": str(port),
            "RINGTELL_SMTP_USER": "ringtell",
            "RINGTELL_SMTP_PASSWORD": SECRET,
            "RINGTELL_SMTP_AUTHORITIES": str(certificate),
        }
        settings = Settings.from_environment(told)
        assert SECRET not in repr(settings)
        outlets: dict[str, Outlet] = dict(outlets_of(settings))
        assert SECRET not in repr(outlets)
        plant(store, outlets, Wanted("mail", "line@plant.example"))
        look(store, LEAK, at_ms=MORNING)
        Courier(store, outlets, now_ms=Clock()).round()
        assert box.secured == [True]
        believing = outlets["mail"]
        assert isinstance(believing, MailOutlet)
        strangers = dataclasses.replace(believing, authorities="")
        look(store, GONE, at_ms=MORNING + 1)
        outlets["mail"] = strangers
        Courier(store, outlets, now_ms=Clock(MORNING + 2)).round()
    assert len(box.mails) == 1
    (waiting,) = outbox(store, "waiting")
    assert "SSLCertVerificationError" in waiting.trouble


def test_what_a_server_refuses_for_now_is_tried_again_later_under_the_same_id(store: Store) -> None:
    box, clock = Box(refuse=2), Clock()
    with mail_server(box) as port:
        outlets: dict[str, Outlet] = {
            "mail": MailOutlet("127.0.0.1", port, "none", "", "", "ringtell@plant.example")
        }
        plant(store, outlets, Wanted("mail", "line@plant.example"))
        look(store, LEAK, at_ms=MORNING)
        courier = Courier(store, outlets, now_ms=clock, chance=lambda: 1.0)
        courier.round()
        clock.now += FIRST_PAUSE_MS - 1
        courier.round()
        assert (len(box.mails), box.refuse) == (0, 1)
        clock.now += 1
        courier.round()
        (waiting,) = outbox(store, "waiting")
        assert (waiting.tries, waiting.next_try_ms) == (2, clock.now + 2 * FIRST_PAUSE_MS)
        assert waiting.trouble == "SMTPDataError, the mail server answered 451"
        clock.now = waiting.next_try_ms
        courier.round()
    (mail,) = box.mails
    (sent,) = outbox(store, "sent")
    assert sent.tries == 3
    with store.read() as connection:
        assert kept.due_messages(connection, now_ms=clock.now * 2) != []  # the log was told by nobody
    assert mail["Message-ID"].endswith("@plant.example>")


def test_what_never_arrives_is_given_up_in_sight_and_can_be_tried_again(any_store: Store) -> None:
    clock = Clock()
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(any_store, outlets, Wanted("mail", "line@plant.example"))
    look(any_store, LEAK, at_ms=MORNING)
    courier = Courier(any_store, outlets, now_ms=clock, chance=lambda: 1.0)
    for tries in range(1, TRIES_MAX + 1):
        courier.round()
        clock.now += pause_ms(tries, chance=1.0)
    (dead,) = outbox(any_store, "dead")
    with any_store.read() as connection:
        assert live_questions.counts(connection).messages_waiting == 0
    assert (dead.tries, dead.trouble) == (TRIES_MAX, "ConnectionRefusedError: Connection refused")
    assert outbox(any_store, "waiting") == []
    assert any_store.write(lambda c: kept.try_again(c, now_ms=clock.now)) == 1
    (waiting,) = outbox(any_store, "waiting")
    assert waiting.tries == 0


def test_a_message_claimed_by_a_server_that_died_leaves_after_the_restart(store: Store) -> None:
    box, clock = Box(), Clock()
    with mail_server(box) as port:
        outlets: dict[str, Outlet] = {
            "mail": MailOutlet("127.0.0.1", port, "none", "", "", "ringtell@plant.example"),
            "log": LogOutlet(),
        }
        plant(store, outlets, Wanted("mail", "line@plant.example"))
        look(store, LEAK, at_ms=MORNING)
        with store.read() as connection:
            due = kept.due_messages(connection, now_ms=MORNING)
        ids = {message.message_id for message in due if message.outlet == "mail"}
        taken = [functools.partial(kept.claim, message=m, now_ms=MORNING, lost_ms=-1) for m in due]
        assert [store.write(claim) for claim in taken] == [True, True]
        store.close()
        again = Store(store.url)
        try:
            courier = Courier(again, outlets, now_ms=clock)
            assert courier.round() == 0  # the other one may still be sending
            clock.now += CLAIM_LOST_MS
            assert courier.round() == 2
        finally:
            again.close()
    (mail,) = box.mails
    assert {mail["Message-ID"].strip("<>").partition("@")[0]} == ids


def test_two_couriers_send_a_message_once(any_store: Store) -> None:
    outlets: dict[str, Outlet] = {"log": LogOutlet()}
    plant(any_store, outlets)
    look(any_store, LEAK, at_ms=MORNING)
    with any_store.read() as connection:
        (message,) = kept.due_messages(connection, now_ms=MORNING)
    taken = [any_store.write(lambda c: kept.claim(c, message, now_ms=MORNING, lost_ms=-1)) for _ in range(2)]
    assert taken == [True, False]


class Slow:
    """An outlet whose server takes its time."""

    def __init__(self) -> None:
        self.entered, self.go_on = threading.Event(), threading.Event()

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        self.entered.set()
        assert self.go_on.wait(timeout=20)


def test_a_slow_outlet_holds_no_writer(store: Store) -> None:
    slow = Slow()
    outlets: dict[str, Outlet] = {"mail": slow, "log": LogOutlet()}
    plant(store, outlets, Wanted("mail", "line@plant.example"))
    look(store, LEAK, at_ms=MORNING)
    courier = threading.Thread(target=Courier(store, outlets, now_ms=Clock()).round)
    courier.start()
    try:
        assert slow.entered.wait(timeout=20)
        began = time.monotonic()
        store.write(lambda c: acts.acknowledge(c, "P07-1", who="vera", reason="seen", now_ms=MORNING))
        assert time.monotonic() - began < 5.0
    finally:
        slow.go_on.set()
        courier.join(timeout=20)


def test_routes_choose_by_area_urgency_and_shift(store: Store) -> None:
    # MORNING is 06:00 UTC, when the early shift begins.
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(
        store,
        outlets,
        Wanted("mail", "hall.a@plant.example", area="Hall A"),
        Wanted("mail", "hall.b@plant.example", area="Hall B"),
        Wanted("mail", "urgent@plant.example", urgency="now"),
        Wanted("mail", "shift@plant.example", urgency="this_shift"),
        Wanted("mail", "early@plant.example", shift="06:00"),
        Wanted("mail", "late@plant.example", shift="14:00"),
        Wanted("mail", "nobody@plant.example", active=False),
        Wanted("mail", "hall.a@plant.example", urgency="this_week"),
    )
    look(store, dataclasses.replace(LEAK, urgency="this_shift"), at_ms=MORNING)
    told = [one.recipient for one in outbox(store, "waiting")]
    assert sorted(told) == ["early@plant.example", "hall.a@plant.example", "shift@plant.example"]


def test_nobody_answers_and_the_next_levels_are_told_each_once(any_store: Store) -> None:
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(
        any_store,
        outlets,
        Wanted("mail", "lead@plant.example", urgency="now", level=1, after_min=10),
        Wanted("mail", "boss@plant.example", urgency="now", level=2, after_min=30),
    )
    look(any_store, LEAK, at_ms=MORNING)

    def at(minutes: int) -> list[str]:
        now = MORNING + minutes * MINUTE
        done = any_store.write(lambda c: tick(c, now_ms=now, settings=PLANT_DEFAULTS))
        return [change.action for change in done]

    assert [at(m) for m in (9, 10, 11, 29, 30, 300)] == [[], ["escalated"], [], [], ["escalated"], []]
    assert [m.recipient for m in outbox(any_store, "waiting")] == ["boss@plant.example", "lead@plant.example"]


def test_an_answer_in_time_ends_escalation_and_a_new_call_begins_it_anew(store: Store) -> None:
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(store, outlets, Wanted("mail", "lead@plant.example", level=1, after_min=10))
    look(store, LEAK, at_ms=MORNING)
    store.write(lambda c: acts.acknowledge(c, "P07-1", who="vera", reason="seen", now_ms=MORNING + MINUTE))
    late = MORNING + 60 * MINUTE
    assert store.write(lambda c: tick(c, now_ms=late, settings=PLANT_DEFAULTS)) == []
    look(store, GONE, at_ms=late)
    look(store, LEAK, at_ms=late + 1)
    later = late + 10 * MINUTE + 1
    assert len(store.write(lambda c: tick(c, now_ms=later, settings=PLANT_DEFAULTS))) == 1


def test_an_answer_that_comes_while_a_level_is_being_told_stays(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(store, outlets, Wanted("mail", "lead@plant.example", level=1, after_min=10))
    look(store, LEAK, at_ms=MORNING)
    late = MORNING + 60 * MINUTE
    told: list[Any] = []

    def tell() -> None:
        told.extend(store.write(lambda c: tick(c, now_ms=late, settings=PLANT_DEFAULTS)))

    other = threading.Thread(target=tell)

    def answer(connection: Any) -> None:
        acts.acknowledge(connection, "P07-1", who="vera", reason="seen", now_ms=late)
        other.start()
        # Until the other one waits for what this transaction holds.
        for _ in range(200):
            with store.read() as looking:
                waits = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'"
                if looking.exec_driver_sql(waits).scalar_one():
                    return
            time.sleep(0.01)
        raise AssertionError("nobody waits for the answer")

    store.write(answer)
    other.join(timeout=20)
    with store.read() as connection:
        alarm = acts.need_alarm(connection, "P07-1")
    store.close()
    assert (alarm.state, alarm.acknowledged_by, told) == ("acknowledged", "vera", [])


def test_looking_for_what_is_due_reads_no_message_that_has_left(store: Store) -> None:
    with store.read() as connection:
        asked: list[tuple[str, Any]] = []
        sa.event.listen(connection, "before_cursor_execute", lambda *said: asked.append(said[2:4]))
        kept.due_messages(connection, now_ms=MORNING)
        query, given = next(one for one in asked if "FROM outbox" in one[0])
        plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {query}", given).all()
    assert any("ix_outbox_waiting" in row.detail for row in plan), plan


def test_a_flickering_alarm_does_not_flood_a_mailbox(any_store: Store) -> None:
    outlets: dict[str, Outlet] = {"mail": Deaf(), "log": LogOutlet()}
    plant(any_store, outlets, Wanted("mail", "line@plant.example"))
    for step in range(40):
        look(any_store, LEAK if step % 2 == 0 else GONE, at_ms=MORNING + 4_000 * step)
    assert len(outbox(any_store, "waiting")) <= 8


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Wanted("mail", "a@b.example\nBcc: c@d.example"), "recipient"),
        (Wanted("mail", "nobody"), "recipient"),
        (Wanted("pigeon", "x"), "outlet"),
        (Wanted("log", "x"), "recipient"),
        (Wanted("mail", "a@b.example", urgency="soon"), "urgency"),
        (Wanted("mail", "a@b.example", shift="07:00"), "shift"),
        (Wanted("mail", "a@b.example", level=6, after_min=1), "level"),
        (Wanted("mail", "a@b.example", level=0, after_min=1), "after_min"),
        (Wanted("mail", "a@b.example", level=1, after_min=0), "after_min"),
        (Wanted("webhook", "https://elsewhere.example/x"), "recipient"),
        (Wanted("webhook", "https://user:pw@hooks.example/x"), "recipient"),
        (Wanted("webhook", "ftp://hooks.example/x"), "recipient"),
    ],
)
def test_a_route_that_cannot_work_is_refused_by_name(store: Store, wanted: Wanted, field: str) -> None:
    outlets: dict[str, Outlet] = {
        "mail": Deaf(), "log": LogOutlet(), "webhook": WebhookOutlet(("hooks.example",), SECRET),
    }  # fmt: skip
    with pytest.raises(InvalidError) as caught:
        plant(store, outlets, wanted)
    assert caught.value.field == field
    assert "pw" not in str(caught.value)


class _Hook(http.server.BaseHTTPRequestHandler):
    status = 204
    seen: list[tuple[dict[str, str], bytes, str]]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.seen.append((dict(self.headers), body, self.path))
        self.send_response(self.status)
        if self.status == 307:
            self.send_header("Location", "/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_args: object) -> None:
        """Quiet."""


@pytest.fixture
def hook() -> Iterator[tuple[type[_Hook], int]]:
    handler = type("Hook", (_Hook,), {"seen": []})
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield handler, server.server_port
    server.shutdown()
    thread.join(timeout=10)
    server.server_close()


def test_a_webhook_is_signed_over_moment_id_and_body(
    store: Store, hook: tuple[type[_Hook], int], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    handler, port = hook
    url = f"http://127.0.0.1:{port}/in/very-private?k=1"
    outlets: dict[str, Outlet] = {"webhook": WebhookOutlet(("127.0.0.1",), SECRET), "log": LogOutlet()}
    plant(store, outlets, Wanted("webhook", url))
    look(store, LEAK, at_ms=MORNING)
    Courier(store, outlets, now_ms=Clock(MORNING + 7)).round()
    ((headers, body, path),) = handler.seen
    assert path == "/in/very-private?k=1"
    assert headers["Ringtell-Sent"] == str(MORNING + 7)
    expected = digest_of(SECRET, sent=str(MORNING + 7), message_id=headers["Ringtell-Message"], body=body)
    assert headers["Ringtell-Digest"] == expected
    facts = json.loads(body)
    assert (facts["alarm"], facts["action"], facts["urgency"]) == ("P07-1", "opened", "now")
    assert facts["id"] == headers["Ringtell-Message"]
    with store.read() as connection:
        trail = json.dumps([dataclasses.asdict(row) for row in audit_of(connection, PLANT)])
    for text in (trail, caplog.text, repr(outlets)):
        assert SECRET not in text
        assert "very-private" not in text


@pytest.mark.parametrize("status", [307, 404, 500])
def test_a_webhook_follows_no_redirect_and_believes_only_a_yes(
    store: Store, hook: tuple[type[_Hook], int], status: int
) -> None:
    handler, port = hook
    handler.status = status
    outlets: dict[str, Outlet] = {"webhook": WebhookOutlet(("127.0.0.1",), SECRET), "log": LogOutlet()}
    plant(store, outlets, Wanted("webhook", f"http://127.0.0.1:{port}/in"))
    look(store, LEAK, at_ms=MORNING)
    Courier(store, outlets, now_ms=Clock()).round()
    assert [path for _, _, path in handler.seen] == ["/in"]
    (waiting,) = outbox(store, "waiting")
    assert waiting.trouble == f"127.0.0.1 answered {status}"


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "10.1.2.3", "169.254.169.254", "0.0.0.0", "::1"])
def test_a_webhook_goes_to_no_address_nobody_listed(host: str) -> None:
    with pytest.raises(InvalidError, match="not in RINGTELL_WEBHOOK_HOSTS"):
        allowed_address(host, 80, ("hooks.example",))


def test_a_listed_name_that_leads_inside_needs_its_address_listed_too() -> None:
    with pytest.raises(InvalidError, match="not public"):
        allowed_address("localhost", 80, ("localhost",))
    assert allowed_address("localhost", 80, ("localhost", "127.0.0.0/8", "::1/128")).is_loopback
    with pytest.raises(InvalidError, match="not public"):
        allowed_address("::ffff:10.0.0.1", 80, ("::ffff:10.0.0.1", "192.168.0.0/16"))


@pytest.mark.parametrize(
    "url", ["", "hooks.example/x", "http://", "http://h\nx/", "http://h:99999/", "http://h/#a"]
)
def test_no_address_is_no_target(url: str) -> None:
    with pytest.raises(InvalidError):
        read_target(url)


def test_a_test_message_travels_the_route(store: Store) -> None:
    box = Box()
    with mail_server(box) as port:
        outlets: dict[str, Outlet] = {
            "mail": MailOutlet("127.0.0.1", port, "none", "", "", "ringtell@plant.example")
        }
        plant(store, outlets, Wanted("mail", "line@plant.example"))
        store.write(lambda c: routing.send_test(c, 1, who="ada", now_ms=MORNING))
        assert Courier(store, outlets, now_ms=Clock()).round() == 1
    assert box.mails[0]["Subject"] == "Ringtell test message"
