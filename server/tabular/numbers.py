"""Numbers as logs write them: decimal commas, thousands marks, and what stands for a missing one."""

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

_COMMA = re.compile(
    r"\s*[+-]?(?:[0-9]+|[0-9]{1,3}(?:[.' ][0-9]{3})+),[0-9]+(?:[eE][+-]?[0-9]+)?\s*"
).fullmatch
_POINT = re.compile(r"\s*[+-]?[0-9]+\.[0-9]+(?:[eE][+-]?[0-9]+)?\s*").fullmatch
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?").fullmatch
_GROUPS = re.compile(r"[.' ]")
#: What logs write where a press measured nothing.
MISSING: Final = frozenset(
    {"", "-", "--", "---", "n/a", "na", "nan", "null", "none", "#n/a", "?", "***", "****"}
)


def has_decimal_comma(rows: Iterable[Sequence[Any]]) -> bool:
    """True where number cells carry a comma and none a point.

    >>> has_decimal_comma([["6,02", "80"], ["6,1", "80"]]), has_decimal_comma([["6,02", "8.5"]])
    (True, False)
    """
    comma = False
    for row in rows:
        for cell in row:
            if isinstance(cell, str):
                if _POINT(cell):
                    return False
                comma = comma or bool(_COMMA(cell))
    return comma


def point_of(cell: str) -> str:
    """The cell with its decimal comma as a point, where it is a number with one.

    >>> point_of("6,02"), point_of("1.250,5"), point_of("a,b")
    ('6.02', '1250.5', 'a,b')
    """
    if "," not in cell or not _COMMA(cell):
        return cell
    whole, _, rest = cell.strip().partition(",")
    return f"{_GROUPS.sub('', whole)}.{rest}"


def number_in(cell: str, *, decimal_comma: bool = False) -> float | None:
    """The number of a cell; None where it holds none.

    >>> number_in("6,02", decimal_comma=True), number_in("n/a"), number_in("1e3")
    (6.02, None, 1000.0)
    """
    text = (point_of(cell) if decimal_comma else cell).strip()
    return float(text) if len(text) < 400 and _PLAIN(text) else None


def is_missing(cell: str) -> bool:
    return cell.strip().lower() in MISSING
