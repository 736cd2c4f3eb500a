"""The language somebody reads: English stands in the source, the other languages are loaded by `languages`.

`_()` gives a text in the language of whoever is answered right now; `N_()` marks one that is written down
before anybody asks (a constant, a reason that is kept) and is put into a language where it is shown.
"""

import contextlib
import dataclasses
import functools
from collections.abc import Callable, Iterator, Mapping
from contextvars import ContextVar
from typing import Any, Final, ParamSpec, TypeVar

SOURCE: Final = "en"
Asked = ParamSpec("Asked")
Said = TypeVar("Said")


@dataclasses.dataclass(frozen=True)
class Language:
    """A language with its texts and how it writes numbers."""

    code: str
    translate: Callable[[str], str]
    translate_plural: Callable[[str, str, int], str]
    decimal: str = "."
    group: str = ","


def _as_kept(value: object) -> object:
    """A value of a sentence as its English text with stored units holds it."""
    if isinstance(value, Marked):
        return value[:]
    return value.stored if isinstance(value, Measured) else value


class Marked(str):
    """A text of the source that knows how to be said in another language.

    It *is* the English text, so that it can be kept, compared and sent; printed or formatted it speaks the
    language of whoever is answered.
    """

    template: str
    values: dict[str, object]

    def __new__(cls, text: str, values: Mapping[str, object] | None = None) -> "Marked":
        english = {name: _as_kept(value) for name, value in (values or {}).items()}
        made = super().__new__(cls, text.format(**english) if english else text)
        made.template, made.values = text, dict(values or {})
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return Marked, (self.template, self.values)

    def __str__(self) -> str:
        language = _current.get()
        if language is None and _writer.get() is None:
            return self[:]
        said = self.template if language is None else language.translate(self.template)
        return (
            said.format(**{name: shown(value) for name, value in self.values.items()})
            if self.values
            else said
        )

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    def __add__(self, other: str) -> "Marked":
        return Marked("{before}{after}", {"before": self, "after": other})

    def __radd__(self, other: str) -> "Marked":
        return Marked("{before}{after}", {"before": other, "after": self})


#: The unit each quantity is kept in, as a text writes it.
_STORED: Final = {"length": "mm", "pressure": "bar", "volume": "cm³", "speed": "mm/s", "flow": "cm³/s"}
Writer = Callable[[str, float, int], str]


@dataclasses.dataclass(frozen=True)
class Measured:
    """A stored value within a sentence: said in the units of whoever is answered, kept in its own."""

    quantity: str
    value: float
    places: int

    @property
    def stored(self) -> str:
        return f"{self.value:,.{self.places}f} {_STORED[self.quantity]}"

    def __str__(self) -> str:
        writer = _writer.get()
        return self.stored if writer is None else writer(self.quantity, self.value, self.places)

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)


_writer: ContextVar[Writer | None] = ContextVar("writer", default=None)
_current: ContextVar[Language | None] = ContextVar("language", default=None)


def N_(text: str, /, **values: object) -> str:
    """A text written down before anybody asks, or where nobody is asked: a constant, a reason that is kept.

    It is typed as the text it is; `Marked` is what it knows besides.

    >>> N_("{have} of {need} values", have=3, need=8)
    '3 of 8 values'
    """
    return Marked(text, values)


def _(text: str, /, **values: object) -> str:
    """A text in the reader's language, its {places} filled; marked values are put into the language as well.

    >>> _("{press} is silent for {span}.", press="E07", span="3 h"), _("100 %")
    ('E07 is silent for 3 h.', '100 %')
    """
    language = _current.get()
    if language is None:
        return text.format(**values) if values else text
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
    if isinstance(text, Marked):
        return str(text)
    language = _current.get()
    return text if language is None else language.translate(text)


def shown(value: object) -> object:
    """A marked text in the reader's language; everything else as it is."""
    return str(value) if isinstance(value, Marked) else value


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


def kept_by_language(most: int) -> Callable[[Callable[Asked, Said]], Callable[Asked, Said]]:
    """As `functools.lru_cache`, for what holds words: each language has its own."""

    def keep(make: Callable[Asked, Said]) -> Callable[Asked, Said]:
        @functools.lru_cache(maxsize=most)
        def kept(_code: str, *args: Asked.args, **kwargs: Asked.kwargs) -> Said:
            return make(*args, **kwargs)

        @functools.wraps(make)
        def known(*args: Asked.args, **kwargs: Asked.kwargs) -> Said:
            return kept(code(), *args, **kwargs)  # type: ignore[arg-type]  # hashable, as of any such cache

        return known

    return keep


@contextlib.contextmanager
def written_by(writer: Writer | None) -> Iterator[None]:
    """Every measured value within is written by this function of quantity, value and decimals."""
    token = _writer.set(writer)
    try:
        yield
    finally:
        _writer.reset(token)


@contextlib.contextmanager
def spoken(language: Language | None) -> Iterator[None]:
    """Everything said within is said in this language; None: as the source has it."""
    token = _current.set(language)
    try:
        yield
    finally:
        _current.reset(token)
