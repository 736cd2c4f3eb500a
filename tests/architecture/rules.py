"""The rules that imports alone cannot say; each gives the sentences in which a module breaks it."""

import ast
import re
import sys
from collections.abc import Iterator

from tests.architecture.modules import Module

#: What pure modules may import besides numpy, scipy and the layers below them.
PURE_OUTSIDE = {"numpy", "scipy"}
#: Parts of the standard library that read files, clocks, the network or chance that is not handed in.
IMPURE = {
    "asyncio", "concurrent", "datetime", "http", "io", "logging", "multiprocessing", "os", "pathlib",
    "pickle", "queue", "random", "secrets", "shutil", "socket", "sqlite3", "subprocess", "tempfile",
    "threading", "time", "urllib", "uuid", "zoneinfo",
}  # fmt: skip
#: What of sqlalchemy may be spoken of outside the store: a connection, its errors, and addresses.
SPOKEN_OF = {"Connection", "Engine", "exc", "make_url"}

_SQL = re.compile(r"^\s*(SELECT\s.+\sFROM|INSERT\s+INTO|UPDATE\s+\w+\s+SET|DELETE\s+FROM)\s", re.S)

MODULE_LINES_MAX = 400
FUNCTION_LINES_MAX = 60


def impure_imports(module: Module, *, below: set[str]) -> list[str]:
    """Imports of a pure module beyond numpy, scipy, harmless standard library and `below`."""
    faults = []
    for name in sorted(module.imported):
        top = name.split(".")[0]
        if top == "server":
            allowed = name.split(".")[1] in below
        else:
            allowed = top in PURE_OUTSIDE or (top in sys.stdlib_module_names and top not in IMPURE)
        if not allowed:
            faults.append(f"{module.name} imports {name}")
    return faults


def impure_calls(module: Module) -> list[str]:
    """Files opened, printed to or read within a pure module."""
    return [
        f"{module.name}:{node.lineno} calls {node.func.id}()"
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("open", "input")
    ]


def database_words(module: Module) -> list[str]:
    """Uses of sqlalchemy outside the store beyond the type `Connection`, and SQL in text."""
    faults = [
        f"{module.name} imports {name}"
        for name in sorted(module.imported)
        if name.split(".")[0] in ("sqlalchemy", "sqlite3", "psycopg", "alembic")
        and name not in ("sqlalchemy", "sqlalchemy.exc")
    ]
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and node.module == "sqlalchemy":
            faults += [f"{module.name} imports {a.name}" for a in node.names if a.name not in SPOKEN_OF]
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "sa":
            faults += [] if node.attr in SPOKEN_OF else [f"{module.name}:{node.lineno} uses sa.{node.attr}"]
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and _SQL.match(node.value):
            faults.append(f"{module.name}:{node.lineno} writes SQL: {node.value[:40]!r}")
    return faults


def clock_readings(module: Module) -> list[str]:
    """Wall-clock readings; a monotonic clock measures spans and is nobody's time of day."""
    wall = {
        ("time", "time"),
        ("time", "time_ns"),
        ("datetime", "now"),
        ("datetime", "utcnow"),
        ("date", "today"),
    }
    return [
        f"{module.name}:{node.lineno} reads the clock"
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute) and (_last_name(node.value), node.attr) in wall
    ]


def _last_name(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return node.id
    return node.attr if isinstance(node, ast.Attribute) else ""


def long_pieces(module: Module) -> list[str]:
    """Modules and functions that have become two."""
    lines = module.text.count("\n")
    faults = [f"{module.name} has {lines} lines"] if lines > MODULE_LINES_MAX else []
    for node in functions(module):
        first = node.body[0]
        docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
        spoken = (first.end_lineno or first.lineno) - first.lineno + 1 if docstring else 0
        length = (node.end_lineno or node.lineno) - node.lineno + 1 - spoken
        if length > FUNCTION_LINES_MAX:
            faults.append(f"{module.name}.{node.name} has {length} lines")
    return faults


def functions(module: Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
