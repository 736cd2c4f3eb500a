"""The catalogue of everything people read: `python -m tests.words.catalogue` writes it anew.

It reads `_()`, `N_()` and `plural()` in the server, the texts of templates, `shared/*.json` and the
chapters of the help. A language is a copy of the file with its translations, as `web/locale/<code>.po`.
"""

import ast
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from babel.messages import Catalog
from babel.messages.pofile import write_po

from server.routes.pages import templates
from server.show.build_help import chapter_texts, help_chapters

ROOT: Final = Path(__file__).resolve().parents[2]
CATALOGUE: Final = ROOT / "web" / "locale" / "ringtell.pot"
#: What of an entry of `shared/` people read.
FIELDS: Final = frozenset(
    {"name", "text", "meaning", "formula", "source", "caution", "settled_by", "at_the_press", "what"}
)
_FILES: Final = ("causes", "signals", "rules", "guidance", "cautions", "score_proof", "alarm_proof")

Message = str | tuple[str, str]


def messages() -> Iterator[tuple[Message, str]]:
    """Each text with the file it stands in."""
    for path in sorted((ROOT / "server").rglob("*.py")):
        for message in of_module(ast.parse(path.read_text(encoding="utf-8"))):
            yield message, str(path.relative_to(ROOT))
    for path in sorted((ROOT / "web" / "templates").glob("*.html")):
        for message in of_template(path.read_text(encoding="utf-8")):
            yield message, str(path.relative_to(ROOT))
    for name in _FILES:
        path = ROOT / "shared" / f"{name}.json"
        for message in of_shared(json.loads(path.read_text(encoding="utf-8"))):
            yield message, str(path.relative_to(ROOT))
    for _anchor, title, body in help_chapters():
        for message in (title, *chapter_texts(body)):
            yield message, "web/help"


def of_module(tree: ast.AST) -> Iterator[Message]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        texts = [
            one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)
        ]
        if node.func.id in ("_", "N_") and texts:
            yield texts[0]
        elif node.func.id == "plural" and len(texts) == 2:
            yield texts[0], texts[1]


def of_template(source: str) -> Iterator[Message]:
    found = templates().extract_translations(source)  # type: ignore[attr-defined]  # the extension adds it
    for _line, _function, message in found:
        # With places to fill it comes as the text and a nothing for each.
        text = message if isinstance(message, str) else message[0]
        if text:
            yield text


def of_shared(entry: Any) -> Iterator[Message]:
    if isinstance(entry, list):
        for one in entry:
            yield from of_shared(one)
    elif isinstance(entry, dict):
        for key, value in entry.items():
            if key in FIELDS and isinstance(value, str) and value:
                yield value
            elif not isinstance(value, str):
                yield from of_shared(value)


def written() -> str:
    """The catalogue as text: the same texts, the same file."""
    catalogue = Catalog(project="Ringtell", fuzzy=False)
    for message, path in messages():
        catalogue.add(message, locations=[(path, 0)])
    file = io.BytesIO()
    write_po(file, catalogue, sort_output=True, omit_header=True, include_lineno=False, width=110)
    return file.getvalue().decode("utf-8")


if __name__ == "__main__":
    CATALOGUE.parent.mkdir(exist_ok=True)
    CATALOGUE.write_text(written(), encoding="utf-8")
