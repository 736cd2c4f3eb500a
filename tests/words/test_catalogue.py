"""One catalogue holds every text people read, and a language is one file beside it."""

import ast
import pickle
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

from server import language, languages
from server.language import N_, Language, Marked, _, plural, spoken
from server.words.numbers import fixed, whole
from tests.words.catalogue import CATALOGUE, ROOT, messages, of_module, of_template, written
from tests.words.second import a_second_language

#: Packages whose texts people read.
READ: Final = ("show", "words", "derived", "notify")
#: Of notify only what is written into messages; the rest goes to the log and the trail.
OF_NOTIFY: Final = {"message.py", "escalation.py"}
#: The document of the API is written for programs and those who write them: English alone.
ENGLISH: Final = {"help_api.py"}
#: What is no sentence: markup, addresses, styles, SQL, names of fields and files.
_NO_SENTENCE: Final = re.compile(
    r"<[a-zA-Z/]|=\"|^[/#.&?]|https?:|^[\w.:;%/(),#=-]*$|^[a-z-]+( [a-z0-9]+(-[a-z0-9]+)+)+$"
    r"|^[MLHVAZ\d ,.-]+$|charset|SELECT|^x\d? domain$|^\w+ \| None$|%\{"
)
#: Calls that take names, not sentences.
_TAKES_NAMES: Final = {
    "warning",
    "exception",
    "info",
    "error",
    "TypeVar",
    "getattr",
    "compile",
    "join",
    "strip",
    "replace",
    "split",
    "partition",
    "pop",
}


def test_the_file_holds_what_the_sources_say() -> None:
    said = {message for message, _path in messages()}
    kept = CATALOGUE.read_text(encoding="utf-8")
    assert len(said) > 2_000
    assert kept == written(), "run python -m tests.words.catalogue"


def sentences(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Texts of a module with words in them that go through no `_()`, `N_()` or `plural()`."""
    spared = {id(one) for node in ast.walk(tree) for one in _spared(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = [str(one.value) if isinstance(one, ast.Constant) else "\0" for one in node.values]
            bare = "".join(parts)
            told = re.search(r"(?<![\w/#=&?.\0-])[A-Za-z]{2,}(?![\w/=.\0-])", bare)
            if told and not _NO_SENTENCE.search(bare.replace("\0", "x")):
                yield node.lineno, bare.replace("\0", "…")
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in spared:
            text = node.value.strip()
            if re.search(r"[A-Za-z]{2,}\W* \W*[A-Za-z]{2,}", text) and not _NO_SENTENCE.search(text):
                yield node.lineno, text


def _spared(node: ast.AST) -> Iterator[ast.AST]:
    """What of a node is said already, or no sentence: docstrings, refusals, keys, pieces of longer texts."""
    if isinstance(node, ast.Expr):
        yield node.value
    elif isinstance(node, ast.Call):
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in ("_", "N_", "plural") or name in _TAKES_NAMES:
            yield from node.args
    elif isinstance(node, ast.Raise | ast.Subscript | ast.Compare):
        yield from ast.walk(node)
    elif isinstance(node, ast.JoinedStr):
        yield from node.values


@pytest.mark.parametrize("package", READ)
def test_no_sentence_goes_past_the_catalogue(package: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line} {text[:80]!r}"
        for path in sorted((ROOT / "server" / package).glob("*.py"))
        if path.name not in ENGLISH and (package != "notify" or path.name in OF_NOTIFY)
        for line, text in sentences(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


#: Modules whose refusals reach people through the API and its pages; what commands refuse is English.
REFUSING: Final = (
    "access/*.py", "derived/*.py", "ingest/*.py", "notify/acts.py", "record/*.py", "routes/*.py",
    "import_jobs.py", "import_run.py", "store/plant.py", "store/shots.py", "store/database.py", "typeset.py",
)  # fmt: skip


def refusals(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Sentences of what is raised that go past the catalogue."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Raise) or not isinstance(node.exc, ast.Call):
            continue
        name = node.exc.func.id if isinstance(node.exc.func, ast.Name) else ""
        if name in ("ValueError", "TypeError", "RuntimeError"):
            continue
        for one in node.exc.args:
            text = "".join(str(part.value) for part in ast.walk(one) if isinstance(part, ast.Constant))
            if isinstance(one, ast.JoinedStr | ast.Constant) and re.search(r"[a-z]{2,} [a-z]{2,}", text):
                yield node.lineno, text


def test_refusals_are_in_the_catalogue() -> None:
    paths = [path for pattern in REFUSING for path in sorted((ROOT / "server").glob(pattern))]
    assert len(paths) > 50
    found = [
        f"{path.relative_to(ROOT)}:{line} {text[:80]!r}"
        for path in paths
        for line, text in refusals(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


def test_a_refusal_past_the_catalogue_is_noticed() -> None:
    tree = ast.parse(
        'raise InvalidError("name is empty", field="name")\nraise RowFault("at", "no_offset", N_("no time"))'
    )
    assert [text for _line, text in refusals(tree)] == ["name is empty"]


def test_a_sentence_past_the_catalogue_is_noticed() -> None:
    tree = ast.parse(
        'def f(n):\n    a = "No shot has come."\n    return f"{n} shots came", _("Kept {n}.", n=n)\n'
    )
    assert {text for _line, text in sentences(tree)} == {"… shots came", "No shot has come."}
    assert list(of_module(tree)) == ["Kept {n}."]


#: Text of a template outside of tags, comments and what is said through the language.
_SAID: Final = re.compile(
    r"\{% trans.*?endtrans \+?%\}|\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<!--.*?-->", re.DOTALL
)
_TAG: Final = re.compile(r"<[^<>]*>", re.DOTALL)
_READ_OUT: Final = re.compile(r'(?:aria-label|placeholder|title|alt)="([^"]*)"')


def forgotten(source: str) -> list[str]:
    source = re.sub(r"\{% block (listen|body_class) %\}.*?\{% endblock %\}", "", source)
    left = _SAID.sub("¤", re.sub(r"\{% trans.*?\{% endtrans \+?%\}", "¤", source, flags=re.DOTALL))
    texts = [*_READ_OUT.findall(left), *_TAG.sub("¤", re.sub(r"<code>.*?</code>", "", left)).split("¤")]
    return [text.strip() for text in texts if re.search(r"[A-Za-z]{3,}", re.sub(r"&\w+;", "", text))]


def test_templates_say_nothing_past_the_catalogue() -> None:
    found = {
        path.name: left
        for path in sorted((ROOT / "web" / "templates").glob("*.html"))
        if (
            left := [
                one for one in forgotten(path.read_text(encoding="utf-8")) if one not in ("Ringtell", "API")
            ]
        )
    }
    assert found == {}


def test_a_forgotten_text_of_a_template_is_noticed() -> None:
    source = '<p aria-label="All presses">Kept {% trans n=1 %}of {{ n }}{% endtrans %} {{ _("now") }}</p>'
    assert forgotten(source) == ["All presses", "Kept"]
    assert list(of_template(source)) == ["of %(n)s", "now"]


@pytest.fixture
def second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Language]:
    with a_second_language(tmp_path, monkeypatch) as found:
        yield found


def test_a_second_language_is_a_file(second: Language) -> None:
    with spoken(second):
        assert _("{press} is silent.", press="E07") == "E07 schweigt."
        assert [plural(n, "shot", "shots") for n in (1, 2)] == ["Schuss", "Schüsse"]
        assert f"{N_('leak')}: {_('not translated')}" == "Leck: not translated"
        assert (fixed(1234.5, 1), whole(1234)) == ("1.234,5", "1.234")
        assert language.code() == "de"
    assert (_("{press} is silent.", press="E07"), fixed(1234.5, 1)) == ("E07 is silent.", "1,234.5")


def test_a_text_that_fills_other_places_stays_english(second: Language) -> None:
    with spoken(second):
        assert _("Ring travel {mm}", mm="3") == "Ring travel 3"


def test_languages_are_listed_by_their_own_names(second: Language) -> None:
    assert languages.languages() == {"en": "English", "de": "Deutsch"}


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("de", "de"),
        ("fr, de-AT;q=0.8, en;q=0.5", "de"),
        ("en-GB, de;q=0.5", "en"),
        ("", "en"),
        (";;q=x,", "en"),
    ],
)
def test_a_browser_is_spoken_to_as_it_asks(second: Language, asked: str, code: str) -> None:
    wanted = languages.wanted_of(asked)
    assert ("en" if wanted is None else wanted.code) == code


def test_a_reason_that_is_kept_stays_english_and_is_said_in_the_readers_language(second: Language) -> None:
    reason = N_("{press} is silent.", press="E07") + N_(" A {what}.", what=N_("leak"))
    with spoken(second):
        assert (reason == "E07 is silent. A leak.", str(reason)) == (True, "E07 schweigt. A Leck.")
        again = pickle.loads(pickle.dumps(reason))
        assert isinstance(again, Marked)
        assert str(again) == "E07 schweigt. A Leck."
