"""Codes of presses and molds that could be taken for one another are refused."""

import pytest

from server.errors import InvalidError
from server.record.fields import Given, read_code


@pytest.mark.parametrize("hidden", ["\u202e", "\u2066", "\u200b", "\ufeff", "\u00ad"])
def test_a_code_with_an_invisible_character_is_refused_by_its_number(hidden: str) -> None:
    with pytest.raises(InvalidError, match=f"U\\+{ord(hidden):04X}"):
        read_code("press", f"P{hidden}07")


@pytest.mark.parametrize("code", ["P07", "Presse Ö 7", "射出機 7", "مكبس 7"])
def test_codes_of_any_script_are_fine(code: str) -> None:
    assert read_code("press", code) == code


@pytest.mark.parametrize("end", ["\n", "\r\n", "\t", "\x85", "\u2028", "\u2029"])
def test_a_short_text_is_one_line(end: str) -> None:
    given = Given({"name": f"Hall{end}A", "note": "first\nsecond"})
    assert given.text("name", longest=80) == "Hall A"
    assert given.note() == "first\nsecond"


@pytest.mark.parametrize("sign", ["\0", "\x1b", "\x7f", "\x9b", "\ud800"])
def test_no_text_holds_what_a_terminal_obeys(sign: str) -> None:
    with pytest.raises(InvalidError, match="control characters"):
        Given({"name": f"Hall{sign}A"}).text("name")


def test_nothing_that_turns_the_direction_comes_along() -> None:
    assert Given({"name": "\u202eHall\u2069 A\u202c"}).text("name") == "Hall A"
