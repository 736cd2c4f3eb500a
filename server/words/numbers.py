"""Numbers as a person reads them: sensible digits, thousands, percent, odds, small numbers as words."""

import math
from typing import Final

from server.language import N_, _, marks, say

#: What stands where nothing can be said.
NOTHING: Final = "–"

#: Below half of the last of six decimals nothing is left to write.
_NOTHING_LEFT: Final = 5e-7

_SMALL: Final = (
    N_("no"),
    N_("one"),
    N_("two"),
    N_("three"),
    N_("four"),
    N_("five"),
    N_("six"),
    N_("seven"),
    N_("eight"),
    N_("nine"),
    N_("ten"),
    N_("eleven"),
    N_("twelve"),
)


def number(value: float | None, digits: int = 3) -> str:
    """A value with `digits` significant digits, never in powers of ten for what a plant measures.

    >>> number(74.4812), number(0.01636), number(1116.0), number(None), number(1234567.0)
    ('74.5', '0.0164', '1,116', '–', '1,234,567')
    >>> number(1e-9), signed(-7e-15)
    ('0', '0')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    if abs(value) < _NOTHING_LEFT:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    return _minus(f"{value:,.{max(0, min(places, 6))}f}")


def fixed(value: float | None, places: int) -> str:
    """A value with a fixed number of decimals, for columns.

    >>> fixed(1.3333, 2), fixed(-0.5, 1), fixed(-0.0001, 2)
    ('1.33', '−0.5', '0.00')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{value:,.{places}f}"
    return _minus(text) if float(text.replace(",", "")) != 0 else text.lstrip("-")


def signed(value: float | None, digits: int = 2) -> str:
    """A difference: always with its sign.

    >>> signed(3.6), signed(-2.14), signed(0.0)
    ('+3.6', '−2.1', '0')
    """
    text = number(value, digits)
    return f"+{text}" if value is not None and math.isfinite(value) and value >= _NOTHING_LEFT else text


def signed_fixed(value: float | None, places: int) -> str:
    """A difference with a fixed number of decimals and always with its sign.

    >>> signed_fixed(3.421, 2), signed_fixed(-0.31, 1), signed_fixed(0.001, 2)
    ('+3.42', '−0.3', '0.00')
    """
    text = fixed(value, places)
    above = value is not None and value > 0 and any(sign in "123456789" for sign in text)
    return f"+{text}" if above else text


def whole(value: float | None) -> str:
    """A count with thousands marks.

    >>> whole(410000)
    '410,000'
    """
    return NOTHING if value is None else _minus(f"{round(value):,d}")


def percent(share: float | None, *, short: bool = False) -> str:
    """A probability or share in whole percent; the ends are not claimed as certain.

    >>> percent(0.934), percent(0.0004), percent(0.9999), percent(None)
    ('93 %', 'under 1 %', 'over 99 %', '–')
    >>> percent(0.9999, short=True)
    '> 99 %'
    """
    if share is None or not math.isfinite(share):
        return NOTHING
    if 0 < share < 0.005:
        return "< 1 %" if short else _("under 1 %")
    if 0.995 < share < 1:
        return "> 99 %" if short else _("over 99 %")
    return f"{round(100 * share)} %"


def odds_factor(log_odds: float) -> str:
    """What a piece of evidence multiplies the odds by; against: what it divides them by.

    >>> odds_factor(2.6), odds_factor(-1.41), odds_factor(0.01)
    ('× 13', '× 4.1 against', '× 1.0')
    """
    factor = math.exp(min(abs(log_odds), 20.0))
    text = f"× {marks(f'{factor:.1f}')}" if factor < 9.95 else f"× {marks(f'{factor:,.0f}')}"
    return _("{value} against", value=text) if log_odds < 0 and text != "× 1.0" else text


def all_now(count: int) -> str:
    """That all of so many things are to be done now.

    >>> all_now(1), all_now(2), all_now(5)
    ('Now.', 'Both now.', 'All of them now.')
    """
    return (_("Now."), _("Both now."))[count - 1] if 0 < count <= 2 else _("All of them now.")


def capital(text: str) -> str:
    """A text as the beginning of a sentence.

    >>> capital("swept stroke")
    'Swept stroke'
    """
    said = say(text)
    return said[:1].upper() + said[1:]


def count_word(count: int, *, capital: bool = False) -> str:
    """Small counts as words, as a sentence wants them.

    >>> count_word(2), count_word(0, capital=True), count_word(37)
    ('two', 'No', '37')
    """
    text = say(_SMALL[count]) if 0 <= count < len(_SMALL) else f"{count:,d}"
    return text[0].upper() + text[1:] if capital else text


def _minus(text: str) -> str:
    return marks(text.replace("-", "−", 1))
