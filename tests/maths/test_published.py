"""Every published case is met within its tolerance, and none is forgotten."""

import pytest

from tests.maths.cases import ELSEWHERE, EXPLAINED, REFERENCE, everything, handler

CASES = everything()


@pytest.mark.parametrize("case_id", [c for c in CASES if handler(c) is not None])
def test_case_is_met(case_id: str) -> None:
    call = handler(case_id)
    assert call is not None
    lines = list(call(CASES[case_id]))
    assert lines
    wrong = [line for line in lines if not line.agrees()]
    assert not wrong


def test_every_case_names_where_it_comes_from() -> None:
    assert len(CASES) == 129
    for case in CASES.values():
        assert case["source"]
        assert case["from"] in (
            "read in a public text",
            "memory, verified by computation",
            "computed only (no published value to hand)",
        )


def test_what_is_settled_elsewhere_or_explained_is_named() -> None:
    assert set(ELSEWHERE) <= set(CASES)
    assert set(EXPLAINED) <= set(CASES)


def test_the_printed_table_has_every_case_with_its_explanation() -> None:
    text = (REFERENCE / "TABLE.md").read_text("utf-8")
    for case_id in CASES:
        assert f"| {case_id} |" in text
    assert all(why in text for why in (*EXPLAINED.values(), *ELSEWHERE.values()))
