"""The languages there are: `web/locale/<code>.po`, each a translation of the one catalogue beside it."""

import functools
import gettext
import io
import logging
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from babel import Locale, negotiate_locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from server.errors import UsageError
from server.language import SOURCE, Language
from server.settings import outside

log = logging.getLogger("ringtell.languages")
#: What a text has filled in: {places} and %(places)s, and a percent sign beside these.
_PLACES: Final = re.compile(r"\{[^{}]*\}|%\(\w+\)s|%%").findall


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


def need_language(code: str) -> Language | None:
    """The language of a code that was set; '' and the source's are None.

    Raises: UsageError for one there is no file of.
    """
    if code and code not in languages():
        raise UsageError(f"RINGTELL_LANGUAGE={code!r}: there are {', '.join(languages())}")
    return language(code)


@functools.cache
def language(code: str) -> Language | None:
    """One of `languages()`; None for the source's and for what there is none of.

    A text that fills other places than the source's is left out and stays English: no page fails for it.

    Raises: ValueError when the file of the language cannot be read.
    """
    path = _folder() / f"{code}.po"
    if code == SOURCE or path not in _files():
        return None
    locale = Locale.parse(code)
    packed = io.BytesIO()
    with path.open("rb") as file:
        catalogue = read_po(file, locale=locale, abort_invalid=True)
    for message in list(catalogue):
        if message.id and message.string and not _fills_the_same(message.id, message.string):
            log.warning("%s: other places than in the source, left out: %r", path.name, message.string)
            catalogue.delete(message.id)
    write_mo(packed, catalogue)
    packed.seek(0)
    texts = gettext.GNUTranslations(packed)
    symbols: Mapping[str, Any] = locale.number_symbols.get("latn", locale.number_symbols)
    return Language(code, texts.gettext, texts.ngettext, symbols["decimal"], symbols["group"])


def _fills_the_same(source: str | Sequence[str], text: str | Sequence[str]) -> bool:
    """Whether each form has just the places and marks of format of the source's."""
    wanted = _PLACES(source if isinstance(source, str) else source[0])
    forms = (text,) if isinstance(text, str) else text
    return all(sorted(_PLACES(form)) == sorted(wanted) for form in forms if form)


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


def forget() -> None:
    """Look at the folder anew."""
    language.cache_clear()
    _files.cache_clear()
