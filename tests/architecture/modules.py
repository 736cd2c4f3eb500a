"""The modules of the server as syntax trees, and what each imports."""

import ast
import dataclasses
import functools
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SERVER = ROOT / "server"


@dataclasses.dataclass(frozen=True)
class Module:
    """One file. `imported`: every dotted name it imports, wherever in the file."""

    name: str
    text: str
    tree: ast.Module
    imported: frozenset[str]

    @property
    def place(self) -> str:
        """The package or module directly below `server`."""
        return self.name.split(".")[1] if "." in self.name else ""


@functools.cache
def server_modules() -> tuple[Module, ...]:
    return tuple(read_module(file, within=ROOT) for file in sorted(SERVER.rglob("*.py")))


def read_module(file: Path, *, within: Path) -> Module:
    text = file.read_text(encoding="utf-8")
    name = ".".join(file.relative_to(within).with_suffix("").parts).removesuffix(".__init__")
    return module_of(name, text)


def module_of(name: str, text: str) -> Module:
    tree = ast.parse(text)
    imported: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            imported.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            imported.add(node.module)
    return Module(name, text, tree, frozenset(imported))
