"""How words somebody types become conditions of a question, and which rows meet them."""

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

Row = Mapping[str, Any]
#: Codes of kinds each word stands for, by the word.
Kinds = Mapping[str, frozenset[str]]

WORDS_MAX: Final = 6
#: How many rows are looked at where the database cannot tell letters apart by itself.
_FAR: Final = 2_000
_NUMBER = re.compile(r"^(?:(?P<press>.+)[-/]|#)?(?P<number>\d{1,9})$")


@dataclasses.dataclass(frozen=True)
class Word:
    """One word in small letters; `number`: it names a thing by number, of `press` where that is not ''."""

    text: str
    number: int | None = None
    press: str = ""


@dataclasses.dataclass(frozen=True)
class Asked:
    """All words have to be met. `text` is the whole in small letters, for what is called exactly so."""

    text: str
    words: tuple[Word, ...]

    def without(self, names: Sequence[str]) -> "Asked":
        """Less the words that only name the kind of thing."""
        return dataclasses.replace(self, words=tuple(one for one in self.words if one.text not in names))


def read_words(text: str) -> Asked:
    """
    >>> [(one.text, one.number, one.press) for one in read_words("Case P07-3 9").words]
    [('case', None, ''), ('p07-3', 3, 'p07'), ('9', 9, '')]
    """
    words = []
    for one in text.lower().split()[:WORDS_MAX]:
        found = _NUMBER.match(one)
        words.append(Word(one, int(found["number"]), found["press"] or "") if found else Word(one))
    return Asked(" ".join(text.lower().split()), tuple(words))


def like_text(word: str) -> str:
    r"""The inside of a LIKE pattern that means the word itself, with `\` to escape.

    Databases do not agree about small and large letters beyond A to Z: such a letter stands for any sign,
    and `rows_met` looks again.

    >>> like_text("50%_ä")
    '50\\%\\__'
    """
    signs = {"\\": "\\\\", "%": "\\%", "_": "\\_"}
    return "".join(signs.get(sign, sign if sign.isascii() else "_") for sign in word)


def _holds(column: sa.ColumnElement[str], word: str) -> sa.ColumnElement[bool]:
    return column.ilike(f"%{like_text(word)}%", escape="\\")


def numbered(
    press: sa.ColumnElement[str], number: sa.ColumnElement[int]
) -> Callable[[Word], list[sa.ColumnElement[bool]]]:
    def conditions(word: Word) -> list[sa.ColumnElement[bool]]:
        if word.number is None:
            return []
        if not word.press:
            return [number == word.number]
        return [sa.and_(number == word.number, press.ilike(like_text(word.press), escape="\\"))]

    return conditions


def of_kind(column: sa.ColumnElement[str], kinds: Kinds) -> Callable[[Word], list[sa.ColumnElement[bool]]]:
    return lambda word: [column.in_(sorted(kinds[word.text]))] if kinds.get(word.text) else []


def rows_met(
    connection: sa.Connection,
    query: sa.Select[Any],
    asked: Asked,
    texts: Sequence[sa.ColumnElement[str]],
    *others: Callable[[Word], list[sa.ColumnElement[bool]]],
    limit: int,
) -> list[Row]:
    """The first rows in which every word stands in one of the texts, or meets one of the others."""
    for word in asked.words:
        meets = [_holds(column, word.text) for column in texts]
        query = query.where(sa.or_(*meets, *(one for other in others for one in other(word))))
    foreign = [word.text for word in asked.words if not word.text.isascii()]
    found = connection.execute(query.limit(_FAR if foreign else limit))
    rows: list[Row] = [dict(row._mapping) for row in found]
    if foreign:
        names = [str(column.key) for column in texts]
        rows = [row for row in rows if all(_stands(word, row, names) for word in foreign)]
    return rows[:limit]


def _stands(word: str, row: Row, names: Sequence[str]) -> bool:
    return any(word in str(row[name] or "").lower() for name in names)


def called_so(asked: Asked, *columns: sa.ColumnElement[str]) -> sa.ColumnElement[int]:
    """0: one of the columns is just so, 1: one begins so, 2: anything else."""
    text = like_text(asked.text)
    just = sa.or_(*(column.ilike(text, escape="\\") for column in columns))
    begins = sa.or_(*(column.ilike(f"{text}%", escape="\\") for column in columns))
    return sa.case((just, 0), (begins, 1), else_=2)
