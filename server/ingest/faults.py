"""A fault of one row: which field, a stable code, and a sentence that names the way out."""

from typing import Any

_SHOWN = 60


class RowFault(Exception):
    """Why a single row is kept apart. The rest of its batch is not touched by it."""

    def __init__(self, field: str, code: str, message: str, *, at_ms: int | None = None) -> None:
        super().__init__(message)
        self.field = field
        self.code = code
        self.message = message
        self.at_ms = at_ms
        #: The row itself is fine and may be tried again later as it stands.
        self.replayable = code == "in_the_future"


def shown(value: Any) -> str:
    """A value as it stands in a message: quoted where it is text, cut where it is long."""
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    text = f'"{value[:_SHOWN]}"' if isinstance(value, str) else str(value)
    text = "".join(c if c.isprintable() else "�" for c in text)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def named(field: str) -> str:
    """A field's name as a sender wrote it, fit to be shown and kept."""
    return shown(field)[1:-1]
