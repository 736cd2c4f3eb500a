"""Reading what people send: each value checked against its bound, each refusal naming both."""

import dataclasses
import json
import math
import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from server.clock import as_text, from_datetime
from server.contract import CODE_LENGTH_MAX
from server.errors import BadBodyError, InvalidError
from server.language import N_
from server.record.times import parse_time

NOTE_LENGTH_MAX: Final = 4_000
#: 1990-01-01: a time before it comes from a clock that was never set.
EARLIEST_MS: Final = 631_152_000_000
#: A time somebody types may lie this far ahead of the server's clock.
AHEAD_MS: Final = 10 * 60_000

_FORBIDDEN_IN_CODES = re.compile(r"[/\\\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]").search

#: What no database keeps and no page shows: control characters but line ends and tabs, half characters.
_UNFIT = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff]").search
#: A text this short is a line: a name, a place, a number of a part. Longer ones may have several.
LINE_LENGTH_MAX: Final = 200
_LINE_ENDS = re.compile(r"[\t\n\r\x85\u2028\u2029]+").sub
#: What turns the direction of whatever stands behind it: comes along unseen when a text is copied.
_TURNS = re.compile(r"[\u202a-\u202e\u2066-\u2069]").sub


def shown(value: Any) -> str:
    """A value as a message can carry it."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


def refuse(field: str, value: Any, bound: str) -> InvalidError:
    """The error for a value that cannot be taken."""
    return InvalidError(
        N_("{field} is {value}; it has to be {bound}", field=field, value=shown(value), bound=bound),
        field=field,
        bound=bound,
    )


@dataclasses.dataclass(frozen=True)
class Given:
    """A JSON object somebody sent, read field by field."""

    body: Mapping[str, Any]

    @classmethod
    def of(cls, body: Any, *, known: Collection[str]) -> "Given":
        """Refuses what is no object, and fields nobody knows: a slip must not pass in silence."""
        if not isinstance(body, Mapping):
            raise BadBodyError(N_("the body has to be a JSON object"))
        try:
            json.dumps(body, ensure_ascii=False, default=str).encode()
        except UnicodeEncodeError:
            raise BadBodyError(N_("the body holds half of a surrogate pair, which is no character")) from None
        for name in body:
            if name not in known:
                raise InvalidError(
                    N_("{name!r} is no field here; known: {join}", name=name, join=", ".join(sorted(known))),
                    field=str(name),
                )
        return cls(body)

    def has(self, name: str) -> bool:
        return self.body.get(name) is not None

    def need(self, *names: str) -> None:
        for name in names:
            if not self.has(name):
                raise InvalidError(N_("{name} is missing", name=name), field=name)

    def text(self, name: str, *, longest: int = 80, default: str = "") -> str:
        value = self.body.get(name)
        if value is None:
            return default
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise refuse(name, value, "text")
        text = _TURNS("", unicodedata.normalize("NFC", value)).strip()
        if longest <= LINE_LENGTH_MAX:
            text = _LINE_ENDS(" ", text)
        if len(text) > longest:
            raise refuse(
                name, value, N_("at most {longest} characters, not {value}", longest=longest, value=len(text))
            )
        if _UNFIT(text):
            raise refuse(name, value, N_("text without control characters and half characters"))
        return text

    def note(self, name: str = "note") -> str:
        return self.text(name, longest=NOTE_LENGTH_MAX)

    def number(
        self, name: str, *, above: float | None = None, least: float | None = None, most: float | None = None
    ) -> float | None:
        """A finite number, or None where it is missing."""
        value = self.body.get(name)
        return None if value is None else read_number(name, value, above=above, least=least, most=most)

    def whole(self, name: str, *, least: int, most: int) -> int | None:
        value = self.body.get(name)
        if value is None:
            return None
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise refuse(name, value, N_("a whole number from {least} to {most}", least=least, most=most))
        return value

    def flag(self, name: str, *, default: bool = False) -> bool:
        value = self.body.get(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise refuse(name, value, N_("true or false"))
        return value

    def choice(self, name: str, choices: Sequence[str]) -> str:
        value = self.body.get(name)
        if value not in choices:
            raise refuse(name, value, N_("one of {join}", join=", ".join(choices)))
        return str(value)

    def at(self, name: str, *, now_ms: int) -> int | None:
        """Milliseconds of an RFC 3339 time with its offset, or None where it is missing."""
        value = self.body.get(name)
        return None if value is None else read_time(name, value, now_ms=now_ms)

    def numbers(self, name: str, *, least: int, most: int) -> list[float]:
        value = self.body.get(name)
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise refuse(name, value, N_("a list of {least} to {most} numbers", least=least, most=most))
        return [read_number(f"{name}[{i}]", one) for i, one in enumerate(value)]

    def rows(self, name: str, *, least: int, most: int) -> list[Mapping[str, Any]]:
        value = self.body.get(name)
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise refuse(name, value, N_("a list of {least} to {most} objects", least=least, most=most))
        for i, one in enumerate(value):
            if not isinstance(one, Mapping):
                raise refuse(f"{name}[{i}]", one, N_("an object"))
        return value


def read_number(
    name: str,
    value: Any,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
) -> float:
    """A finite number within its bounds."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refuse(name, value, N_("a number"))
    number = float(value) if abs(value) < 1e300 else math.inf
    if not math.isfinite(number):
        raise refuse(name, value, N_("a finite number"))
    if above is not None and not number > above:
        raise refuse(name, value, N_("above {above:g}", above=above))
    if least is not None and not number >= least:
        raise refuse(name, value, N_("at least {least:g}", least=least))
    if most is not None and not number <= most:
        raise refuse(name, value, N_("at most {most:g}", most=most))
    return number


def read_time(name: str, value: Any, *, now_ms: int) -> int:
    """Milliseconds of an RFC 3339 text with offset, not in the future."""
    at = parse_time(value) if isinstance(value, str) else None
    if at is None:
        raise refuse(name, value, N_("a time with its offset, such as 2026-04-01T06:00:00+02:00"))
    at_ms = from_datetime(at)
    if at_ms < EARLIEST_MS:
        raise refuse(name, value, N_("after 1990"))
    if at_ms > now_ms + AHEAD_MS:
        raise refuse(name, value, N_("no later than 10 min from now ({as_text})", as_text=as_text(now_ms)))
    return at_ms


def read_code(name: str, value: Any) -> str:
    """A press or mold code: NFC, 1 to 40 characters, nothing that breaks a path."""
    if not isinstance(value, str):
        raise refuse(name, value, "text")
    code = unicodedata.normalize("NFC", value)
    if not 1 <= len(code) <= CODE_LENGTH_MAX:
        raise refuse(
            name,
            value,
            N_(
                "1 to {code_length_max} characters, not {code}",
                code_length_max=CODE_LENGTH_MAX,
                code=len(code),
            ),
        )
    if code in (".", "..") or code != code.strip() or _FORBIDDEN_IN_CODES(code):
        raise refuse(name, value, N_("a code without '/', '\\', control characters or spaces at its edges"))
    hidden = next((c for c in code if unicodedata.category(c) == "Cf"), None)
    if hidden is not None:
        raise refuse(name, value, N_("a code without the invisible character U+{ord:04X}", ord=ord(hidden)))
    return code
