"""What is handed over on paper: one document for the page, the PDF and the archive.

A paper is blocks of sentences, pictures, facts and tables, and its *basis*: the numbers it rests on. The
SHA-256 of the basis is printed on every page, so that a paper can be held against what its link shows.
"""

import dataclasses
import hashlib
import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

from markupsafe import Markup

from server.language import _

#: Differences told of a paper whose inputs changed.
_TOLD: Final = 8


@dataclasses.dataclass(frozen=True)
class Block:
    """A part of a paper. pictures: (caption, drawing); rows under `head`; facts: (name, value)."""

    title: str
    sentences: tuple[str, ...] = ()
    pictures: tuple[tuple[str, Markup], ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclasses.dataclass(frozen=True)
class Paper:
    """title: what it is and of what; answer: its sentence; identity: n, range, versions, in words.

    cautions stand before everything else where hands-on work is described.
    """

    title: str
    answer: str
    under: str
    blocks: tuple[Block, ...]
    basis: Mapping[str, Any]
    identity: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...] = ()


def canonical(basis: Mapping[str, Any]) -> str:
    """A basis as the one text of it: sorted names, shortest numbers.

    >>> canonical({"b": 0.1, "a": (1, None)})
    '{"a":[1,null],"b":0.1}'
    """
    return json.dumps(basis, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest_of(basis: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical text, hex."""
    return hashlib.sha256(canonical(basis).encode()).hexdigest()


def differences(before: Any, after: Any) -> list[str]:
    """Where two bases differ, in words, the first few.

    >>> differences({"n": 3, "limits": {"upper": 5}}, {"n": 4, "limits": {"upper": 5}})
    ['n: 3, now 4']
    """
    found: list[str] = []
    for line in _different((), json.loads(canonical({"": before})), json.loads(canonical({"": after}))):
        if len(found) == _TOLD:
            return [*found, _("and more")]
        found.append(line)
    return found


def _different(path: tuple[str, ...], before: Any, after: Any) -> Iterator[str]:
    if isinstance(before, dict) and isinstance(after, dict):
        for name in sorted({*before, *after}):
            yield from _different((*path, name) if name else path, before.get(name), after.get(name))
    elif before != after:
        yield _(
            "{join}: {short}, now {short_2}", join=" ".join(path), short=_short(before), short_2=_short(after)
        )


def _short(value: Any) -> str:
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else canonical({"": value})[4:-1]
    return text if len(text) <= 60 else text[:57] + "…"
