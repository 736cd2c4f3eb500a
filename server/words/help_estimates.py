"""What the estimates of a press are made of, and how units and times are shown, for the help page."""

from typing import Final

from server.language import N_
from server.words.catalogue import Entry

ESTIMATES: Final = (
    Entry(
        id="estimate-lost",
        name=N_("What is lost a shot"),
        meaning=N_(
            "The rise of the swept stroke above the startup record, known changes taken out, as stroke and as"
            " volume. All of it is taken for leakage through the valve: flash, heavier parts or melt outside"
            " would be counted in."
        ),
        formula=N_("lost volume = π ÷ 4 · D² · (swept stroke − that of the record)"),
        source=N_("Mass balance of a shot; interval 95 % from the noise of the stroke."),
        act=N_("Enter the screw diameter of the press, or it can only be told as a stroke."),
    ),
    Entry(
        id="estimate-flow",
        name=N_("Leak flow"),
        meaning=N_(
            "How much melt goes back each second while the valve has to hold: in fill and hold, not while the"
            " screw turns."
        ),
        formula=N_("lost volume ÷ (fill time + hold time)"),
        source=N_("Mass balance of a shot."),
        act=N_("Compare it with what a drift check measures; the two should agree within their intervals."),
    ),
    Entry(
        id="estimate-gap",
        name=N_("Equivalent gap"),
        meaning=N_(
            "The even gap around the ring that would let this leak flow through, beside what a sound valve"
            " lets through anyway. One deep groove leaks as much as a wider even gap: it is a size to"
            " compare, not a measurement."
        ),
        formula=N_("h = (h₀³ + 12 · µ · L · ΔQ ÷ (π · D · Δp))^(1/3)"),
        source=N_(
            "Plane Poiseuille flow in a narrow slit (derived). Viscosity 80 to 500 Pa s, land 15 to 35 mm,"
            " sound gap 0.015 to 0.06 mm: common practice, no source."
        ),
        act=N_(
            "Enter the nominal clearance in the valve ledger and read the interval, not the middle. An"
            " inspection measures what this only suggests."
        ),
    ),
    Entry(
        id="estimate-onset",
        name=N_("Since when"),
        meaning=N_(
            "When the swept stroke left its level, or else its scatter: as a step, or as the start of a slow"
            " rise where that fits better. Where neither turns clearly, since when the score has stayed on"
            " the side of a leak. Parts made since its early end are suspect."
        ),
        formula=N_(
            "change point of level or scatter, or turn from a level to a ramp, with its 95 % interval"
        ),
        source=N_("Least squares over the turn; a step counts at p ≤ 0.05 (common practice, no source)."),
        act=N_("Contain from the early end on, and look for what people did around that time."),
    ),
    Entry(
        id="estimate-run-out",
        name=N_("When the cushion runs out"),
        meaning=N_(
            "If the swept stroke goes on growing as it has since the onset, or since the last change, the"
            " cushion is gone at about that date. From today's shot size, so that topping up hides nothing;"
            " dates follow from the shots of the last week, pauses included."
        ),
        formula=N_("shots left = (shot size − bottom − swept stroke) ÷ slope a shot"),
        source=N_("Theil 1950 and Sen 1968 for the slope and its interval (memory)."),
        act=N_(
            "Plan the stop before the early end. “Open” at the late end means that it may last longer than a"
            " year; no date at all that it does not surely shrink."
        ),
    ),
)

SHOWN: Final = (
    Entry(
        id="units",
        name=N_("Units"),
        meaning=N_(
            "Values are kept in mm, cm³, bar, °C, g and s, however they were sent. What pages and papers show"
            " follows the units chosen; the API and files of data name the unit in the name of each field."
        ),
        formula=N_("1 in = 25.4 mm; 1 MPa = 10 bar; 1 psi = 0.0689476 bar; °F = 32 + 9 ÷ 5 · °C"),
        source=N_("ISO 80000; the inch and the pound-force are exact by definition."),
        act=N_("Choose units under Settings. Send values with their unit, and nothing has to be guessed."),
    ),
    Entry(
        id="local-time",
        name=N_("Local time"),
        meaning=N_(
            "Pages show the time of the plant, with its zone at the top right; what is typed without an"
            " offset is taken as that, too. Kept are UTC milliseconds, so that the hour that comes twice in"
            " autumn stays two hours."
        ),
        formula=N_("local time = UTC + offset of the zone at that moment"),
        source=N_("IANA time zone database; RFC 3339 for times in the API."),
        act=N_("Set the zone under Settings. A press whose clock is off is named on its data quality page."),
    ),
    Entry(
        id="ages",
        name=N_("How old a value is"),
        meaning=N_(
            "“16 s ago” counts from the time of the shot by the press's own clock. A press is silent when"
            " nothing has arrived for longer than it may pause; a judgement is old after a day without shots."
        ),
        formula="",
        source=N_("Common practice, no source."),
        act=N_("Set for each press how long it may pause, or leave it to the plant's setting."),
    ),
)
