"""What each kind of alarm calls for: when it opens and ends, why, and what to do, for the help page."""

from typing import Final

from server.language import N_
from server.words.catalogue import Entry

#: By kind of alarm, in the order of the page.
ALARMS: Final[dict[str, Entry]] = {
    "leak": Entry(
        id="alarm-leak",
        name=N_("Alarm: leak"),
        meaning=N_(
            "The leak-likelihood of a press has come over the plant's own threshold. It ends below a second,"
            " lower one, so that it does not come and go. Now from 90 %, or where the valve does not shut;"
            " this shift from 70 %; else this week."
        ),
        formula=N_("opens at likelihood ≥ open at, ends below close at (both under Settings)"),
        source=N_("Hysteresis: IEC 62682. The thresholds are common practice, no source."),
        act=N_(
            "Do what the card says about the parts first. Then go through the steps on the page of the press,"
            " in their order. Do not raise the shot size: that hides the leak and cures nothing."
        ),
    ),
    "bottoming": Entry(
        id="alarm-bottoming",
        name=N_("Alarm: no cushion left"),
        meaning=N_(
            "The screw stood at its true bottom on three shots in a row. Nothing is left to hold the pressure"
            " with, so the last parts may be short. It is always now, whatever the reason."
        ),
        formula=N_("cushion ≤ bottom of the press, 3 shots in a row"),
        source=N_("Common practice, no source."),
        act=N_(
            "Weigh the last shots, set short parts aside and tell the engineer. Look for melt outside before"
            " anything is set differently."
        ),
    ),
    "silent": Entry(
        id="alarm-silent",
        name=N_("Alarm: press is silent"),
        meaning=N_(
            "A press that sent its shots live has stopped sending. Imported history never makes it silent."
            " This week at first, this shift after four hours."
        ),
        formula=N_("time since the last arrival ≥ silent after (of the press, else of the plant)"),
        source=N_("Common practice, no source."),
        act=N_(
            "See whether the press runs. If it does, look at what sends for it: the sources page says when"
            " each one was last heard. If it stands on purpose, answer with planned work."
        ),
    ),
    "shift": Entry(
        id="alarm-shift",
        name=N_("Alarm: a signal has moved"),
        meaning=N_(
            "The level of a signal stands elsewhere than before, by more than the alarm budget lets chance"
            " explain. What a leak that is called already explains does not call again."
        ),
        formula=N_("EWMA of group levels beyond its limit; the limit follows from the alarm budget"),
        source=N_("Quesenberry 1991 (memory); ISO 7870-6."),
        act=N_(
            "Ask what changed at that time: lot, setting, mold, hands. Enter it as an event; what is known is"
            " not taken for a fault. If nothing changed, weigh the last shots."
        ),
    ),
    "scatter": Entry(
        id="alarm-scatter",
        name=N_("Alarm: a signal scatters"),
        meaning=N_(
            "Shots lie further from one another than before, while their level stays. Late closing, uneven"
            " melt and uneven dosing begin like this."
        ),
        formula=N_("EWMA of the logarithm of each group's scatter above its limit"),
        source=N_("Computed here; the limit follows from the alarm budget."),
        act=N_(
            "See on the page of the press which cause leads. Look at melt and dosing before the valve; short"
            " shots weighed without hold tell which it is."
        ),
    ),
    "data_quality": Entry(
        id="alarm-data_quality",
        name=N_("Alarm: data cannot be right"),
        meaning=N_(
            "What a press sends contradicts itself: values wrap around, a reading stands still, records are"
            " missing, or two presses send under one name. Until it is settled nothing said of it holds."
        ),
        formula=N_("any doubt about the log of the press stands"),
        source=N_("Checks of our own; common practice, no source."),
        act=N_(
            "Compare the display of the press with what it sends. The page on its data quality names each"
            " doubt and the shots it rests on."
        ),
    ),
    "capability": Entry(
        id="alarm-capability",
        name=N_("Alarm: mold falls short"),
        meaning=N_(
            "What a mold demands is surely not met on a press: the whole interval of the index lies below the"
            " demand. It ends when the index itself has reached it. Only where the mold states a demand and"
            " limits; never while a leak that explains it is called."
        ),
        formula=N_("opens at upper end of Ppk < demand, ends at Ppk ≥ demand, over the last 24 h"),
        source=N_("ISO 22514-2 for the index."),
        act=N_(
            "Weigh and measure the last parts and tell quality. The page of the mold shows whether one press"
            " stands out (then it is the press) or all do (mold or material)."
        ),
    ),
}
