"""What every module keeps to. Each rule is also shown to notice a module that breaks it."""

import ast
import re
from collections.abc import Callable

import pytest

from tests.architecture import rules
from tests.architecture.modules import ROOT, Module, module_of, server_modules

BELOW = {
    "maths": {"maths", "contract", "errors", "language"},
    "valve": {"valve", "maths", "contract", "errors", "language"},
}
#: The command that writes the fitted modules; nothing imports it.
WRITES_FITTED = "server.valve.calibrate"
#: Who else may write SQL: the collector's spool is a database of its own.
WRITERS = {"store", "collect"}

EVERY = pytest.mark.parametrize("module", server_modules(), ids=lambda module: module.name)


def within(*places: str) -> list[Module]:
    return [module for module in server_modules() if module.place in places]


def test_the_modules_are_found() -> None:
    assert {"maths", "valve", "store", "evaluate", "routes"} <= {module.place for module in server_modules()}


@EVERY
def test_a_module_says_what_it_holds(module: Module) -> None:
    empty_package = not module.text.strip()
    assert empty_package or ast.get_docstring(module.tree)


@EVERY
def test_modules_and_functions_stay_small(module: Module) -> None:
    assert rules.long_pieces(module) == []


def test_maths_and_valve_know_numbers_only() -> None:
    faults = [
        fault
        for module in within("maths", "valve")
        if module.name != WRITES_FITTED
        for fault in (*rules.impure_imports(module, below=BELOW[module.place]), *rules.impure_calls(module))
    ]
    assert faults == []


def test_only_the_store_speaks_to_the_database() -> None:
    others = [module for module in server_modules() if module.place not in WRITERS]
    assert [fault for module in others for fault in rules.database_words(module)] == []


def test_only_clock_reads_the_clock() -> None:
    others = [module for module in server_modules() if module.place != "clock"]
    assert [fault for module in others for fault in rules.clock_readings(module)] == []


def test_one_module_knows_where_the_outer_folders_lie() -> None:
    knows = re.compile(r"\"_outside\"|\bparents\[|__file__")
    assert {module.name for module in server_modules() if knows.search(module.text)} == {"server.settings"}


def test_nothing_is_left_to_do() -> None:
    unfinished = re.compile(r"\b(TODO|FIXME|XXX|NotImplementedError)\b")
    assert [module.name for module in server_modules() if unfinished.search(module.text)] == []


def test_every_silenced_check_says_why() -> None:
    silent = re.compile(r"#\s*(type: ignore(\[[\w-]+(,\s*[\w-]+)*\])?|noqa(:\s*[A-Z0-9, ]+)?)\s*$")
    faults = [
        f"{file.relative_to(ROOT)}:{number}"
        for place in ("server", "tests", "migrations")
        for file in (ROOT / place).rglob("*.py")
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1)
        if silent.search(line)
    ]
    assert faults == []


@pytest.mark.parametrize("place", ["web", "migrations", "shared", "demo_data"])
def test_folders_outside_the_package_hold_no_strangers(place: str) -> None:
    """No program of ours in web/ and shared/, nobody else's code anywhere."""
    files = [file for file in (ROOT / place).rglob("*") if file.is_file() and "__pycache__" not in file.parts]
    assert files
    if place in ("web", "shared", "demo_data"):
        assert [file.name for file in files if file.suffix == ".py"] == []
    assert [
        file.name for file in files if file.suffix in (".map", ".min.js", ".woff", ".woff2", ".ttf")
    ] == []


Rule = Callable[[Module], list[str]]


def maths_imports(module: Module) -> list[str]:
    return rules.impure_imports(module, below=BELOW["maths"])


BROKEN: dict[str, tuple[str, str, Rule]] = {
    "a file": ("server.maths.x", "import pathlib\n", maths_imports),
    "a table": ("server.maths.x", "def f():\n    import pandas as pd\n", maths_imports),
    "a layer above": (
        "server.maths.x",
        "from server.store.shots import read_columns\n",
        maths_imports,
    ),
    "opening": ("server.valve.x", "text = open('a')\n", rules.impure_calls),
    "select": ("server.show.x", "import sqlalchemy as sa\nq = sa.select(1)\n", rules.database_words),
    "named select": ("server.show.x", "from sqlalchemy import select\n", rules.database_words),
    "dialect": ("server.show.x", "from sqlalchemy.dialects import sqlite\n", rules.database_words),
    "driver": ("server.show.x", "import sqlite3\n", rules.database_words),
    "text": ("server.show.x", "q = 'SELECT a FROM b WHERE c'\n", rules.database_words),
    "clock": ("server.show.x", "import time\nnow = time.time()\n", rules.clock_readings),
    "datetime": (
        "server.show.x",
        "import datetime as dt\nnow = dt.datetime.now(dt.UTC)\n",
        rules.clock_readings,
    ),
    "long module": ("server.show.x", "a = 1\n" * 401, rules.long_pieces),
    "long function": ("server.show.x", "def f():\n" + "    a = 1\n" * 61, rules.long_pieces),
}


@pytest.mark.parametrize("broken", BROKEN)
def test_each_rule_notices_what_it_forbids(broken: str) -> None:
    name, text, rule = BROKEN[broken]
    assert len(rule(module_of(name, text))) == 1


def test_a_connection_may_be_spoken_of_everywhere() -> None:
    text = (
        "import sqlalchemy as sa\n\ndef f(c: sa.Connection) -> None:\n    '''Select a cell from the row.'''\n"
    )
    assert rules.database_words(module_of("server.show.x", text)) == []
