"""Lines of the log: whatever was sent, a line begins with the time we wrote it."""

import json
import logging
import sys

import pytest

from server.logs import JsonLines, TextLines

FORGED = "vera\n2026-04-01T06:00:00.000Z info root signed in"
ODD = ("\n", "\r", "\r\n", "\x0b", "\x0c", "\x1b[2J", "\x85", "\u2028", "\u2029", "\u202e", "\x00", "\ud800")


def record(message: str, *given: object, trace: bool = False) -> logging.LogRecord:
    info = sys.exc_info() if trace else None
    return logging.LogRecord("ringtell", logging.WARNING, __file__, 1, message, given, info)


@pytest.mark.parametrize("odd", ODD)
def test_what_was_sent_begins_no_line(odd: str) -> None:
    text = TextLines().format(record("wrong password for %s from %s", f"vera{odd}root", "10.0.0.1"))
    assert len(text.splitlines()) == 1
    assert text.isprintable()
    assert "vera" in text
    assert "root from 10.0.0.1" in text


@pytest.mark.parametrize("odd", ODD)
def test_a_line_for_machines_is_one_line_and_holds_what_was_sent(odd: str) -> None:
    line = JsonLines().format(record("%s", f"vera{odd}root"))
    assert line.isprintable()
    assert json.loads(line)["message"] == f"vera{odd}root"


def test_a_trace_is_set_in_so_that_no_line_of_it_passes_for_ours() -> None:
    try:
        raise ValueError(FORGED)
    except ValueError:
        text = TextLines().format(record("unforeseen", trace=True))
    first, *others = text.splitlines()
    assert first.endswith("unforeseen")
    assert others
    assert all(line.startswith("  | ") for line in others)
    assert any("root signed in" in line for line in others)


def test_plain_words_stay_as_they_are() -> None:
    assert "Über die Düse – 5 µm" in TextLines().format(record("Über die Düse – 5 µm"))
