"""Guesses sent at the same moment get no further than one after the other, and take no more memory."""

import threading

import pytest

from server.access import tokens
from server.access.throttle import NAME_TRIES, WINDOW_MS, Throttle
from server.access.tokens import HASHED_AT_ONCE, HASHED_WAITING
from server.errors import BusyError, ThrottledError
from server.waiting import Turns
from tests.access.guessing import guess
from tests.access.plant import MORNING, PASSWORD, plant, with_password
from tests.access.test_tablets import enrolled, with_pin
from tests.at_once import all_at_once


def test_a_burst_of_guesses_is_looked_at_no_more_often_than_guesses_in_turn(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")

        def guessed(number: int) -> int:
            body = {"name": "vera", "password": f"guess number {number}"}
            return here.caller(**{"X-Ringtell": "page"})("POST", "/api/v1/login", body).status_code

        came = all_at_once(guessed, many=40)
        assert came[401] == NAME_TRIES
        assert came[401] + came[429] == 40
        assert guessed(0) == 429


def test_a_burst_of_short_numbers_is_stopped_too(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)

        def guessed(number: int) -> int:
            call = here.caller(**tablet.headers)
            call.cookies = dict(tablet.cookies)
            return call("POST", "/api/v1/tablet/enter", {"name": "lena", "pin": f"31{number:04}"}).status_code

        came = all_at_once(guessed, many=30)
        assert (came[401], came[401] + came[429]) == (NAME_TRIES, 30)


def test_right_passwords_sent_together_shut_nobody_out(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        right = {"name": "vera", "password": PASSWORD}

        def enter(_number: int) -> tuple[int, str]:
            answer = here.caller(**{"X-Ringtell": "page"})("POST", "/api/v1/login", right)
            return answer.status_code, answer.headers.get("retry-after", "")

        came = all_at_once(enter, many=12)
        # Some are asked to come back in a second; nobody for a quarter of an hour.
        assert set(came) <= {(200, ""), (429, "1")}
        assert came[(200, "")] >= 1
        assert enter(0) == (200, "")


def test_an_error_that_is_no_guess_counts_for_nothing() -> None:
    throttle = Throttle()
    for _ in range(NAME_TRIES * 3):
        with pytest.raises(BusyError), throttle.one_try("vera", "10.0.0.1", now_ms=MORNING):
            raise BusyError("the database is away")
    guess(throttle, "vera", "10.0.0.1")


def test_the_wait_is_said_and_ends() -> None:
    throttle = Throttle()
    for _ in range(NAME_TRIES):
        guess(throttle, "vera", "10.0.0.1")
    with pytest.raises(ThrottledError, match="15 min") as refused:
        guess(throttle, "vera", "10.0.0.1")
    assert refused.value.retry_after_s == WINDOW_MS // 1000
    with pytest.raises(ThrottledError, match="again in 30 s"):
        guess(throttle, "vera", "10.0.0.1", now_ms=MORNING + WINDOW_MS - 30_000)
    guess(throttle, "vera", "10.0.0.1", now_ms=MORNING + WINDOW_MS + 1)


def test_the_form_without_scripts_says_how_long_to_wait(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        call = here.caller()
        wrong = {"name": "vera", "password": "nobody knows it"}
        for _ in range(NAME_TRIES):
            answer = call("POST", "/login", data=wrong, headers={"Origin": "http://127.0.0.1:8000"})
            assert answer.headers["location"] == "/login?wrong=1"
        answer = call("POST", "/login", data=wrong, headers={"Origin": "http://127.0.0.1:8000"})
        assert answer.headers["location"] == "/login?wait=900"


# --- how many at once ---------------------------------------------------------------------------


def test_only_so_many_passwords_are_hashed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    lock, now, most = threading.Lock(), 0, 0
    inside = threading.Event()

    class Slow:
        def verify(self, _hash: str, _password: str) -> bool:
            nonlocal now, most
            with lock:
                now += 1
                most = max(most, now)
            inside.wait(timeout=0.05)
            with lock:
                now -= 1
            return True

    monkeypatch.setattr(tokens, "_hasher", Slow())

    def tried(_number: int) -> str:
        try:
            return str(tokens.password_fits("hash", "password"))
        except BusyError:
            return "busy"

    came = all_at_once(tried, many=HASHED_AT_ONCE + HASHED_WAITING + 10)
    assert most == HASHED_AT_ONCE
    assert came["True"] >= HASHED_AT_ONCE + HASHED_WAITING
    assert came["busy"] >= 1


def test_a_turn_is_given_back_whatever_happens() -> None:
    turns = Turns(at_once=1, waiting=0, said="later")
    for _ in range(3):
        with pytest.raises(ValueError, match="broken"), turns.take():
            raise ValueError("broken")
    with turns.take(), pytest.raises(BusyError), turns.take():
        raise AssertionError("two at once")
