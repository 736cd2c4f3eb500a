"""What is found by a few words: the same on both databases, exactly named first, shots never asked."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa

from server.store import find
from server.store import tables as t
from server.store.database import Store
from server.store.find_words import Row, read_words
from tests.browser.test_every_page import _work
from tests.pages.plant import DAY, NOW, _fill
from tests.pages.test_plans import HISTORY


@pytest.fixture
def plant(any_store: Store) -> Store:
    any_store.write(_fill)
    any_store.write(_work)
    any_store.write(_more)
    return any_store


def _more(connection: sa.Connection) -> None:
    """An alarm that is over, and molds whose codes hold what patterns are made of."""
    connection.execute(
        sa.insert(t.alarms).values(
            press_id=1, alarm_no=7, kind="silent", state="normal", urgency="this_week",
            opened_ms=NOW - 9 * DAY, since_ms=NOW - 9 * DAY, ended_ms=NOW - 8 * DAY, active=False,
        )
    )  # fmt: skip
    for code in ("50%", "50x", "A_1", "AB1", "Öl 7", "Ül 7", "BACK\\SLASH"):
        connection.execute(sa.insert(t.molds).values(mold=code, part="", created_ms=NOW))


def codes(store: Store, words: str, *, limit: int = 20) -> list[str]:
    with store.read() as connection:
        return [row["press"] for row in find.presses_found(connection, read_words(words), limit=limit)]


def molds(store: Store, words: str) -> list[str]:
    with store.read() as connection:
        return [row["mold"] for row in find.molds_found(connection, read_words(words), limit=20)]


def test_a_press_is_found_by_code_name_area_and_what_it_runs(plant: Store) -> None:
    for words in ("P07", "p07", "THISTLE", "thistle m-113", "hall b this"):
        assert codes(plant, words) == ["P07"], words
    assert codes(plant, "m-113") == ["P03", "P05", "P07"]
    assert codes(plant, "q 01 Ä+B") == ["Q 01 ä+b"]
    assert codes(plant, "thistle m-118") == []


def test_who_is_called_so_comes_before_who_only_begins_so(plant: Store) -> None:
    def call(connection: sa.Connection) -> None:
        connection.execute(sa.update(t.presses).where(t.presses.c.press == "P11").values(name="P0"))

    plant.write(call)
    assert codes(plant, "p0", limit=2) == ["P11", "P02"]


def test_signs_of_patterns_mean_themselves(plant: Store) -> None:
    assert molds(plant, "50%") == ["50%"]
    assert molds(plant, "a_1") == ["A_1"]
    assert molds(plant, "%") == ["50%"]
    assert molds(plant, "k\\s") == ["BACK\\SLASH"]


def test_letters_beyond_a_to_z_are_told_apart_and_large_and_small_are_alike(plant: Store) -> None:
    assert molds(plant, "öl") == ["Öl 7"]
    assert molds(plant, "ÜL 7") == ["Ül 7"]


def test_an_alarm_that_is_over_is_found_by_its_number_alone(plant: Store) -> None:
    with plant.read() as connection:

        def past(words: str) -> list[int]:
            found = find.past_alarms_found(connection, read_words(words), {}, limit=5)
            return [row["alarm_no"] for row in found]

        assert past("P07-7") == past("7") == past("7 p07") == [7]
        assert past("P03-7") == past("silent") == past("p07") == []
        held = find.open_alarms_found(connection, read_words("leak"), {"leak": frozenset({"leak"})}, limit=5)
        assert {row["press"] for row in held} == {"P07", "P11"}


def test_work_of_people_is_found_by_number_press_and_text(plant: Store) -> None:
    with plant.read() as connection:

        def one(rows: list[Row]) -> Row:
            assert len(rows) == 1
            return rows[0]

        for words in ("night", "p07/1", "ADA p07", "#1"):
            assert one(find.cases_found(connection, read_words(words), limit=5))["about"].startswith(
                "scatter"
            )
        assert one(find.valves_found(connection, read_words("rv-50"), limit=5))["press"] == "P07"
        assert one(find.sheets_found(connection, read_words("p07"), {}, limit=5))["sheet_no"] == 1
        assert one(find.studies_found(connection, read_words("p07-1"), {}, limit=5))["verdict"] == "over"
        assert one(find.trials_found(connection, read_words("decompression"), limit=5))["trial_no"] == 1
        assert one(find.records_found(connection, read_words("p05"), limit=5))["baseline_no"] == 1
        assert one(find.materials_found(connection, read_words("pp-demo"), limit=5))["presses"] == 7
        assert one(find.setups_found(connection, read_words("p02"), limit=5))["mold"] == "M-127"


def test_a_press_nobody_took_in_is_not_found(plant: Store) -> None:
    plant.write(
        lambda c: c.execute(sa.update(t.presses).where(t.presses.c.press == "P07").values(accepted=False))
    )
    assert codes(plant, "p07") == []


EVERY = tuple(one for one in vars(find).values() if getattr(one, "__module__", "") == find.__name__)


def asked_of(store: Store, words: str) -> Iterator[tuple[str, Any]]:
    """Every question the search sends."""
    heard: list[tuple[str, Any]] = []
    with store.read() as connection:
        sa.event.listen(connection, "before_cursor_execute", lambda *said: heard.append((said[2], said[3])))
        for look in (one for one in EVERY if one.__name__.endswith("_found")):
            kinds: dict[str, Any] = {"kinds": {}} if "kinds" in look.__annotations__ else {}
            look(connection, read_words(words), limit=9, **kinds)
    yield from ((statement, given) for statement, given in heard if statement.startswith("SELECT"))


def test_every_question_is_bounded_and_asks_no_history(plant: Store) -> None:
    asked = list(asked_of(plant, "p07-7 ä"))
    assert len(asked) == len([one for one in EVERY if one.__name__.endswith("_found")]) == 14
    for statement, _ in asked:
        assert re.search(r"\bLIMIT\b", statement)
        assert "ORDER BY" in statement
        assert not any(re.search(rf"\b{table}\b", statement) for table in HISTORY), statement


def test_alarms_are_reached_by_their_indexes(plant: Store) -> None:
    """However many alarms there ever were, those that are over are looked at press by press."""
    for statement, given in asked_of(plant, "p07-7"):
        if "FROM alarms" not in statement:
            continue
        with plant.read() as connection:
            if plant.is_sqlite:
                plan = [
                    str(row[3])
                    for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", given)
                ]
                assert any(step.startswith("SEARCH alarms USING") for step in plan), plan
                assert not any(step.startswith("SCAN alarms") for step in plan), plan
            else:
                connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
                answer = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", given).scalar_one()
                assert '"Index Cond"' in json.dumps(answer)
