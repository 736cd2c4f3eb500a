"""Codes of presses and molds that could be taken for one another are refused."""

import pytest

from server.errors import InvalidError
from server.record.fields import read_code


@pytest.mark.parametrize("hidden", ["\u202e", "\u2066", "\u200b", "\ufeff", "\u00ad"])
def test_a_code_with_an_invisible_character_is_refused_by_its_number(hidden: str) -> None:
    with pytest.raises(InvalidError, match=f"U\\+{ord(hidden):04X}"):
        read_code("press", f"P{hidden}07")


@pytest.mark.parametrize("code", ["P07", "Presse Ö 7", "射出機 7", "مكبس 7"])
def test_codes_of_any_script_are_fine(code: str) -> None:
    assert read_code("press", code) == code
