"""No page reads history as a whole: how the database would answer each question every page asks.

Each question is caught as it is sent and explained on the database it was sent to. History is what grows with
shots and years; it is reached by press and time, by a limit from its end, or not at all.
"""

import json
import re
from collections.abc import Iterator
from typing import Any

import anyio
import httpx
import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from server.app import build_app, build_objects
from server.settings import Settings
from server.store.database import Store
from tests.browser.test_every_page import _work, page_paths
from tests.pages.plant import NOW, _fill
from tests.security.callers import routes_of

HISTORY = ("shots", "rollups", "scores", "findings", "quarantine", "audit", "import_shots")
#: What bounds a look at one press's history. Of day sums there is a row a day and signal.
_WITHIN = {"shots": "at_ms", "scores": "at_ms", "findings": "_ms", "rollups": "bucket_ms|grain = 86400"}
#: What the pages' own scripts ask for.
ASKED_BY_SCRIPTS = (
    "/api/v1/presses/P07/figure?span=all&width=900", "/api/v1/presses/P07/figure?span_ms=86400000&width=900",
    "/api/v1/presses/P07/trend?signal=cushion_mm", "/api/v1/presses/P07/shots", "/api/v1/presses/P07/leak",
    "/api/v1/presses/P07/leak/history", "/api/v1/presses/P07/findings", "/api/v1/presses/P07/events",
    "/api/v1/alarms", "/api/v1/presses", "/api/v1/molds/M-113/capability", "/?area=Hall+A&state=quiet",
    "/find?q=p07-1+%C3%A4", "/api/v1/find?q=M-113",
)  # fmt: skip
Asked = tuple[str, Any]


def every_path(app: FastAPI) -> list[str]:
    known = {path for method, path in routes_of(app) if method == "GET"}
    for path in ASKED_BY_SCRIPTS:
        assert path.split("?")[0].replace("P07", "{press}").replace("M-113", "{mold}") in known
    return [*page_paths(app), *ASKED_BY_SCRIPTS]


@pytest.fixture
def questions(any_store: Store) -> Iterator[dict[str, list[Asked]]]:
    """Every SELECT by the page that sent it, twice asked pages once."""
    any_store.write(_fill)
    any_store.write(_work)
    settings = Settings(database_url=any_store.url, no_login=True, child_process=False)
    objects = build_objects(settings, now_ms=lambda: NOW)
    app = build_app(objects, run_pipeline=False)
    heard: list[Asked] = []

    def hear(_c: Any, _cursor: Any, statement: str, given: Any, *_: Any) -> None:
        if statement.lstrip().upper().startswith(("SELECT", "WITH")):
            heard.append((statement, given))

    sa.event.listen(sa.Engine, "before_cursor_execute", hear)
    try:
        yield anyio.run(_ask, app, heard)
    finally:
        sa.event.remove(sa.Engine, "before_cursor_execute", hear)
        objects.pipeline.close()
        objects.store.close()


async def _ask(app: FastAPI, heard: list[Asked]) -> dict[str, list[Asked]]:
    found: dict[str, list[Asked]] = {}
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000") as client:
        for path in every_path(app):
            heard.clear()
            answer = await client.get(path)
            # A report nobody made is not found; what it asks for that is asked all the same.
            assert answer.status_code in (200, 404), f"{path}: {answer.text[:300]}"
            found[path] = list(heard)
    return found


def test_no_page_reads_history_as_a_whole(any_store: Store, questions: dict[str, list[Asked]]) -> None:
    amiss: dict[str, set[str]] = {}
    looked_at = 0
    for path, asked in questions.items():
        for statement, given in asked:
            if not any(re.search(rf"\b{table}\b", statement) for table in HISTORY):
                continue
            looked_at += 1
            for what in reads_whole(any_store, statement, given):
                amiss.setdefault(path, set()).add(f"{what}: {' '.join(statement.split())[:300]}")
    assert looked_at > 100
    assert amiss == {}, json.dumps({path: sorted(found) for path, found in amiss.items()}, indent=1)


@pytest.mark.parametrize(
    "statement",
    [
        "SELECT count(*) FROM shots",
        "SELECT max(cushion_mm) FROM shots WHERE at_ms > 5",
        "SELECT sum(cushion_mm) FROM shots WHERE press_id = 1",
        "SELECT at_ms FROM scores ORDER BY log_odds LIMIT 5",
    ],
)
def test_what_would_read_history_is_noticed(any_store: Store, statement: str) -> None:
    any_store.write(_fill)
    assert list(reads_whole(any_store, statement, ()))


def test_what_is_reached_by_press_and_time_or_from_its_end_is_not(any_store: Store) -> None:
    any_store.write(_fill)
    for statement in (
        "SELECT count(*) FROM shots WHERE press_id = 1 AND at_ms >= 5 AND at_ms < 9",
        "SELECT at_ms FROM shots WHERE press_id = 1 ORDER BY at_ms DESC, counter DESC LIMIT 60",
    ):
        assert list(reads_whole(any_store, statement, ())) == [], statement


#: One row at an end of a press's history, whatever the plan says of it.
_AT_AN_END = re.compile(r"SELECT (min|max)\((\w+\.)?at_ms\)[^,]* FROM \w+\s+WHERE \S*press_id = \S+$").match


def reads_whole(store: Store, statement: str, given: Any) -> Iterator[str]:
    if _AT_AN_END(" ".join(statement.split())):
        return
    with store.read() as connection:
        if store.is_sqlite:
            yield from _sqlite(connection, statement, given)
        else:
            yield from _postgresql(connection, statement, given)


def _sqlite(connection: sa.Connection, statement: str, given: Any) -> Iterator[str]:
    plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", given)
    limited = re.search(r"\bLIMIT\b", statement, re.I) is not None
    steps = [str(row[3]) for row in plan]
    sorts = any("TEMP B-TREE FOR ORDER BY" in step for step in steps)
    for step in steps:
        found = re.match(rf"(SCAN|SEARCH) ({'|'.join(HISTORY)})\b(.*)", step)
        if not found:
            continue
        kind, table, rest = found.groups()
        by = re.search(r"\(([^)]*)\)$", rest)
        terms = by[1].split(" AND ") if by else []
        if kind == "SCAN" and (not limited or sorts):
            yield f"{table} as a whole ({step})"
        elif table in _WITHIN and terms in ([], ["press_id=?"]) and (not limited or sorts):
            yield f"all of one press in {table} ({step})"


def _postgresql(connection: sa.Connection, statement: str, given: Any) -> Iterator[str]:
    # A table of a few rows is read whole by choice; what matters is whether it could be otherwise.
    for dear in ("seqscan", "bitmapscan", "sort"):
        connection.exec_driver_sql(f"SET LOCAL enable_{dear} = off")
    answer = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", given).scalar_one()
    plan = answer if isinstance(answer, list) else json.loads(answer)
    yield from _nodes(plan[0]["Plan"], limited=False)


def _nodes(node: dict[str, Any], *, limited: bool) -> Iterator[str]:
    kind = node["Node Type"]
    name = node.get("Relation Name", "")
    # A part of a table is called after it.
    table = next((one for one in HISTORY if name == one or name.startswith(f"{one}_")), "")
    if table:
        condition = str(node.get("Index Cond", node.get("Recheck Cond", "")))
        bounded = limited or re.search(_WITHIN.get(table, ""), condition)
        if kind == "Seq Scan" or (not condition and not limited):
            yield f"{table} as a whole ({kind})"
        elif not bounded or (table in _WITHIN and "press_id" not in condition and not limited):
            yield f"all of one press in {table} ({condition})"
    # A limit reaches through what streams, not through what has to see every row first.
    streams = kind in ("Limit", "Append", "Merge Append", "Result", "Subquery Scan", "Nested Loop", "Unique")
    for child in node.get("Plans", ()):
        yield from _nodes(child, limited=streams and (limited or kind == "Limit"))
