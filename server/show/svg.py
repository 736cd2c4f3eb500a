"""Small pieces of SVG as text. Looks come from the style sheet by class; colours stand nowhere here."""

import functools
from collections.abc import Iterable

from markupsafe import Markup, escape


def element(name: str, *inside: str, **attributes: object) -> Markup:
    """One element; `class_` and `stroke_width`-like names become their SVG spelling, None is left out.

    >>> str(element("text", "a < b", class_="mark", x=1.5))
    '<text class="mark" x="1.5">a &lt; b</text>'
    """
    shown = "".join(
        f' {_spelt(key)}="{_escaped(value)}"' for key, value in attributes.items() if value is not None
    )
    if not inside:
        return Markup(f"<{name}{shown}/>")
    return Markup(f"<{name}{shown}>{''.join(map(escape, inside))}</{name}>")


@functools.cache
def _spelt(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _escaped(value: object) -> str:
    # A page of many presses has a hundred thousand numbers, and nothing in one needs escaping.
    return _value(value) if isinstance(value, float | int) else escape(value)


def drawing(parts: Iterable[str], *, width: float, height: float, alt: str, class_: str) -> Markup:
    """A whole picture with its text for those who do not see it."""
    return element(
        "svg",
        element("title", alt),
        *parts,
        class_=class_,
        viewBox=f"0 0 {_value(width)} {_value(height)}",
        role="img",
        aria_label=alt,
    )


def line(x1: float, y1: float, x2: float, y2: float, class_: str) -> Markup:
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_)


def box(x: float, y: float, width: float, height: float, class_: str) -> Markup:
    return element("rect", x=x, y=y, width=max(width, 0.0), height=height, class_=class_)


def label(x: float, y: float, text: str, class_: str) -> Markup:
    return element("text", text, x=x, y=y, class_=class_)


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return str(value)
