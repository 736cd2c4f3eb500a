"""Presses in hand: in order, never twice at once, and nothing that came up is forgotten."""

import threading
import time
from collections.abc import Callable

from server.hands import Hands


def until(condition: Callable[[], bool], *, seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "did not come about"
        time.sleep(0.002)


def test_what_comes_up_while_a_press_is_worked_on_is_looked_at_after_it() -> None:
    looks: list[int] = []
    goes_on = threading.Event()

    def look_at(press_id: int) -> bool:
        looks.append(press_id)
        goes_on.wait(10)
        return False

    hands = Hands(2, look_at)
    hands.offer([1])
    until(lambda: looks == [1])
    hands.offer([1, 1])
    time.sleep(0.05)
    assert looks == [1], "a press is worked on by one at a time"
    goes_on.set()
    until(hands.is_idle)
    assert looks == [1, 1]
    hands.close()


def test_a_press_that_takes_long_holds_up_no_other() -> None:
    done: list[int] = []
    goes_on = threading.Event()

    def look_at(press_id: int) -> bool:
        if press_id == 1:
            goes_on.wait(10)
        done.append(press_id)
        return False

    hands = Hands(2, look_at)
    hands.offer([1, 2])
    until(lambda: done == [2])
    hands.offer([3])
    until(lambda: done == [2, 3])
    goes_on.set()
    until(hands.is_idle)
    assert done == [2, 3, 1]
    hands.close()


def test_what_is_left_of_a_press_waits_behind_the_others() -> None:
    looks: list[int] = []
    offered = threading.Event()

    def look_at(press_id: int) -> bool:
        offered.wait(10)
        looks.append(press_id)
        return press_id == 1 and looks.count(1) < 3

    hands = Hands(1, look_at)
    hands.offer([1, 2, 3])
    offered.set()
    until(hands.is_idle)
    assert looks == [1, 2, 3, 1, 1]
    hands.close()


def test_a_look_that_fails_loses_no_press() -> None:
    looks: list[int] = []

    def look_at(press_id: int) -> bool:
        looks.append(press_id)
        raise ZeroDivisionError

    hands = Hands(1, look_at)
    hands.offer([1])
    until(hands.is_idle)
    hands.offer([1])
    until(lambda: looks == [1, 1] and hands.is_idle())
    hands.close()
    hands.offer([1])
    assert hands.is_idle()
