"""One line of evidence as a bar: right multiplies the odds for a leak, outlined left against it."""

from markupsafe import Markup

from server.language import _
from server.show.scale import Scale
from server.show.svg import box, drawing, label, line
from server.words.numbers import odds_factor

_WIDTH, _HEIGHT, _MIDDLE = 276.0, 16.0, 152.0
_LONGEST = 72.0


def evidence_bar(log_odds: float, *, largest: float) -> Markup:
    """The bar of one term; `largest` is the largest size among its neighbours."""
    scale = Scale(low=0.0, high=max(largest, 0.7), left=0.0, right=_LONGEST)
    length = scale.clipped(abs(log_odds))
    factor = odds_factor(log_odds)
    against = log_odds < 0
    parts = [line(_MIDDLE, 1.0, _MIDDLE, 14.0, "bar-middle")]
    if length >= 0.5:
        x = _MIDDLE - length if against else _MIDDLE
        parts.append(box(x, 3.5, length, 8.0, "bar-against" if against else "bar-for"))
    if against:
        parts.append(label(_MIDDLE - length - 6.0, 11.5, factor, "bar-factor bar-factor-left"))
    else:
        parts.append(label(_MIDDLE + length + 6.0, 11.5, factor, "bar-factor"))
    spoken = (
        _("leaves the odds as they are")
        if factor == "× 1.0"
        else _("odds for a leak {factor}", factor=factor)
    )
    return drawing(parts, width=_WIDTH, height=_HEIGHT, alt=spoken, class_="bar")
