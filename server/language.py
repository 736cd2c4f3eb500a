"""The language somebody reads: English stands in the source, other languages in `web/locale/<code>.po`.

`_()` gives a text in the language of whoever is answered right now; `N_()` marks one that is written down
before anybody asks (a constant) and put into a language where it is shown. Numbers keep the marks of the
language, too.
"""

import contextlib
import dataclasses
import functools
import gettext
import io
from collections.abc import Callable, Iterator, Mapping
from contextvars import ContextVar
from pathlib import Path
from typing import Any, Final

from babel import Locale, negotiate_locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from server.settings import outside

SOURCE: Final = "en"


@dataclasses.dataclass(frozen=True)
class Language:
    """A language with its texts and how it writes numbers."""

    code: str
    translate: Callable[[str], str]
    translate_plural: Callable[[str, str, int], str]
    decimal: str = "."
    group: str = ","


class Marked(str):
    """A text of the source that has not been put into a language yet."""

    __slots__ = ()


_current: ContextVar[Language | None] = ContextVar("language", default=None)


def N_(text: str) -> Marked:
    """Mark a text written down before anybody asks."""
    return Marked(text)


def _(text: str, /, **values: object) -> str:
    """A text in the reader's language, its {places} filled; marked values are put into the language as well.

    >>> _("{press} is silent for {span}.", press="E07", span="3 h"), _("100 %")
    ('E07 is silent for 3 h.', '100 %')
    """
    language = _current.get()
    if language is None:
        return text.format(**values) if values else str(text)
    said = language.translate(text)
    if not values:
        return said
    return said.format(**{name: shown(value) for name, value in values.items()})


def plural(count: int, one: str, many: str) -> str:
    """The noun that goes with a count.

    >>> plural(1, "press", "presses"), plural(3, "shot", "shots")
    ('press', 'shots')
    """
    language = _current.get()
    if language is None:
        return one if count == 1 else many
    return language.translate_plural(one, many, count)


def say(text: str) -> str:
    """A text that only becomes known while something is made, in the reader's language."""
    language = _current.get()
    return text if language is None else language.translate(text)


def shown(value: object) -> object:
    """A marked text in the reader's language; everything else as it is."""
    language = _current.get()
    return language.translate(value) if language is not None and isinstance(value, Marked) else value


def marks(text: str) -> str:
    """A number written the English way, with the reader's marks for decimals and thousands."""
    language = _current.get()
    if language is None or (language.decimal, language.group) == (".", ","):
        return text
    return text.translate({ord("."): language.decimal, ord(","): language.group})


def code() -> str:
    """The code of the language being written, for the `lang` of a page."""
    language = _current.get()
    return SOURCE if language is None else language.code


@contextlib.contextmanager
def spoken(language: Language | None) -> Iterator[None]:
    """Everything said within is said in this language; None: as the source has it."""
    token = _current.set(language)
    try:
        yield
    finally:
        _current.reset(token)


def languages() -> Mapping[str, str]:
    """Languages to choose from, by code, each with its own name for itself; the source's first."""
    codes = (SOURCE, *sorted(path.stem for path in _files()))
    return {code: (Locale.parse(code).get_display_name(code) or code).capitalize() for code in codes}


def wanted_of(header: str) -> Language | None:
    """The best of what a browser asks for (`Accept-Language`); None: the source's."""
    if not any(True for _file in _files()):
        return None
    asked = [part.partition(";") for part in header[:200].split(",")]
    ranked = sorted(asked, key=lambda part: -_quality(part[2]))
    best = negotiate_locale([part[0].strip() for part in ranked], list(languages()), sep="-")
    return language(best or SOURCE)


@functools.cache
def language(code: str) -> Language | None:
    """One of `languages()`; None for the source's and for what there is none of.

    Raises: ValueError when the file of the language cannot be read.
    """
    path = _folder() / f"{code}.po"
    if code == SOURCE or path not in _files():
        return None
    locale = Locale.parse(code)
    packed = io.BytesIO()
    with path.open("rb") as file:
        write_mo(packed, read_po(file, locale=locale, abort_invalid=True))
    packed.seek(0)
    texts = gettext.GNUTranslations(packed)
    symbols: Mapping[str, Any] = locale.number_symbols.get("latn", locale.number_symbols)
    return Language(code, texts.gettext, texts.ngettext, symbols["decimal"], symbols["group"])


@functools.cache
def _files() -> frozenset[Path]:
    return frozenset(_folder().glob("*.po"))


def _folder() -> Path:
    return outside("web") / "locale"


def _quality(text: str) -> float:
    try:
        return float(text.partition("=")[2] or 1.0)
    except ValueError:
        return 0.0
