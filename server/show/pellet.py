"""Urgency as a pellet filling up: a hexagon full, half or a third; the word always stands beside it."""

from typing import Final

from markupsafe import Markup

from server.show.svg import element

#: How full the pellet is.
FILL: Final[dict[str, float]] = {"now": 1.0, "this_shift": 0.5, "this_week": 1.0 / 3.0}

_WIDTH, _HEIGHT, _INSET = 20.0, 18.0, 1.2
_CORNERS: Final = ((0.0, 0.5), (0.25, 0.0), (0.75, 0.0), (1.0, 0.5), (0.75, 1.0), (0.25, 1.0))


def _x_range(y: float) -> tuple[float, float]:
    """Left and right edge of the unit hexagon at height y (0 top, 1 bottom)."""
    inward = 0.25 * abs(2.0 * y - 1.0)
    return inward, 1.0 - inward


def _points(corners: list[tuple[float, float]]) -> str:
    wide, high = _WIDTH - 2 * _INSET, _HEIGHT - 2 * _INSET
    return " ".join(f"{_INSET + x * wide:.2f},{_INSET + y * high:.2f}" for x, y in corners)


def pellet(urgency: str) -> Markup:
    """The picture of an urgency; hidden from screen readers since the word follows it."""
    level = 1.0 - FILL.get(urgency, 0.0)
    left, right = _x_range(level)
    filled = [(left, level), (right, level)]
    if level < 0.5:
        filled.append((1.0, 0.5))
    filled += [(0.75, 1.0), (0.25, 1.0)]
    if level < 0.5:
        filled.append((0.0, 0.5))
    return element(
        "svg",
        element("polygon", points=_points(list(_CORNERS)), class_="pellet-edge"),
        element("polygon", points=_points(filled), class_="pellet-fill"),
        class_=f"pellet pellet-{urgency.replace('_', '-')}",
        viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}",
        aria_hidden="true",
    )
