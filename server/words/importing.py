"""What an import asks and flags, in words: one sentence each, with its figure and the way out."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from server.language import N_, _
from server.maths.results import Undetermined
from server.valve.log_checks import ConstantSum
from server.valve.signals import DoseLag

_COLUMNS: Final = {
    "counter": N_("the press's cycle counter"),
    "at": N_("the time of each shot"),
    "shot_size": N_("the shot size (where recovery stopped, or the metered volume)"),
    "cushion": N_("the cushion"),
}

#: What an import is doing.
STATE: Final = {
    "uploaded": N_("looked at, nothing stored yet"),
    "waiting": N_("waits for the import before it"),
    "running": N_("being stored"),
    "done": N_("stored"),
    "cancelled": N_("cancelled; what was stored until then stays"),
    "failed": N_("failed; what was stored until then stays"),
    "undoing": N_("being undone"),
    "undone": N_("undone"),
}


def question_text(code: str, about: str, facts: Mapping[str, Any]) -> str:
    """A question as a person is asked it."""
    return _QUESTIONS[code](about, facts)


_QUESTIONS: Final[dict[str, Callable[[str, Mapping[str, Any]], str]]] = {
    "column": lambda about, _facts: _(
        "Which column holds {columns}? None is plainly named so.", columns=_COLUMNS[about]
    ),
    "press": lambda _about, _facts: _("Which press are these shots of? No column names one."),
    "time_zone": lambda _about, _facts: _("Whose time is it? The times have no offset."),
    "date_order": lambda _about, _facts: _(
        "Does the day come first, or the month? These dates read both ways."
    ),
    "presses": lambda _about, facts: (
        _("The file names {presses} presses (", presses=len(facts["presses"]))
        + ", ".join(f"{press}: {rows}" for press, rows in list(facts["presses"].items())[:4])
        + _("). Take all of them, or only one?")
    ),
    "cavities": lambda _about, facts: _(
        "{rows} of {of} rows repeat the counter and time of the row before, as logs with a row"
        " for each cavity do. A shot is stored once: the other rows become duplicates or"
        " contradictions, unless they are made one shot with the part weights added up.",
        rows=facts["rows"],
        of=facts["of"],
    ),
    "injected": lambda about, _facts: _(
        "Is “{about}” what was metered, or what was injected? An injected volume is the cushion"
        " over again and no shot size; leave it out if another column holds the metered one.",
        about=about,
    ),
}


def flag_text(code: str, field: str, facts: Mapping[str, Any]) -> str:
    """What looks wrong, and what to do about it."""
    return _FLAGS[code](field, facts)


def _unit_text(field: str, facts: Mapping[str, Any]) -> str:
    return _(
        "{field} lies at {value:.3g}, unusual for that unit: if the file means {maybe}, choose"
        " it beside the column",
        field=field,
        value=facts["value"],
        maybe=facts["maybe"],
    )


_FLAGS: Final[dict[str, Callable[[str, Mapping[str, Any]], str]]] = {
    "unit": _unit_text,
    "wrapped": lambda field, facts: _(
        "{rows} of the rows looked at read {field} near {value:.6g}: a small negative ({maybe})"
        " kept as an unsigned number. Such rows are refused, unless they are read as signed",
        rows=facts["rows"],
        field=field,
        value=facts["value"],
        maybe=facts["maybe"],
    ),
    "rejected": lambda _field, facts: _(
        "{rows} of the rows looked at are refused: {example}", rows=facts["rows"], example=facts["example"]
    ),
    "two_counters": lambda _field, facts: _(
        "{rows} of {of} rows follow another cycle counter: a second press seems to write under"
        " this name. Split the file, or map the column that names the press",
        rows=facts["rows"],
        of=facts["of"],
    ),
    "no_getid": lambda _field, _facts: _(
        "A report states no units; without its GETID file they are taken as mm, cm³, bar, s and"
        " °C. Add that file, or choose the units beside the columns"
    ),
    "unsure": lambda field, facts: _(
        "“{column}” is taken for {field} by part of its name: check it", column=facts["column"], field=field
    ),
}


def sum_text(column: str, found: ConstantSum | Undetermined) -> str:
    """The constant-sum test of a column with its figures."""
    if isinstance(found, Undetermined):
        return _(
            "“{column}”: metered or injected cannot be told: {reason}.", column=column, reason=found.reason
        )
    figures = _(
        "from shot to shot it moves with the cushion at correlation {correlation:+.2f}, their"
        " sum scatters {sum_share:.2f} times as much as it does ({pairs:,} pairs)",
        correlation=found.correlation,
        sum_share=found.sum_share,
        pairs=found.pairs,
    )
    if found.injected:
        return _(
            "“{column}” is what was injected: its sum with the cushion is constant; {figures}.",
            column=column,
            figures=figures,
        )
    if found.injected is False:
        return _("“{column}” was metered: {figures}.", column=column, figures=figures)
    return _("“{column}”: metered or injected is not clear; {figures}.", column=column, figures=figures)


def lag_text(found: DoseLag | Undetermined, *, set_to: int | None = None) -> str:
    """Which dose belongs to which shot, and how sure that is."""
    if isinstance(found, Undetermined):
        detected = _("It cannot be told from the shots: {reason}", reason=found.reason)
    else:
        better = (
            _("the dose of the shot before") if found.scatter[1] < found.scatter[0] else _("its own dose")
        )
        figures = _(
            "swept stroke scatters {ratio:.2f} times less with {better}; chance alone reaches"
            " {needed:.2f} ({moves:,} differences)",
            ratio=found.ratio,
            better=better,
            needed=found.needed,
            moves=found.moves,
        )
        if found.lag is None:
            detected = _("The shots leave it open: {figures}", figures=figures)
        else:
            used = (
                _("the dose reported with the shot before") if found.lag else _("the dose reported with it")
            )
            detected = _("A shot uses {used}: {figures}", used=used, figures=figures)
    if set_to is None:
        return detected + "."
    return _("Set to {set_to} by the plant. {detected}.", set_to=set_to, detected=detected)


#: What a column can be read as, by group, in the order they are offered.
TARGETS: Final[tuple[tuple[str, tuple[tuple[str, str], ...]], ...]] = (
    (
        N_("The shot"),
        (
            ("counter", N_("Cycle counter")),
            ("at", N_("Date and time")),
            ("press", N_("Press")),
            ("mold", N_("Mold")),
            ("material", N_("Material")),
            ("lot", N_("Lot")),
            ("setup", N_("Set-up")),
            ("quality", N_("Quality")),
            ("box", N_("Box")),
            ("serial", N_("Serial number")),
        ),
    ),
    (
        N_("Stroke and volume"),
        (
            ("shot_size_mm", N_("Shot size, position")),
            ("shot_size_cm3", N_("Shot size, metered volume")),
            ("cushion_mm", N_("Cushion, position")),
            ("cushion_cm3", N_("Cushion, volume")),
            ("decompression_mm", N_("Decompression")),
            ("start_position_mm", N_("Injection start")),
            ("transfer_position_mm", N_("Transfer position")),
            ("minimum_position_mm", N_("Most forward position")),
            ("drift_mm", N_("Screw drift after gate seal")),
        ),
    ),
    (
        N_("Pressure"),
        (
            ("peak_pressure_bar", N_("Peak injection pressure")),
            ("transfer_pressure_bar", N_("Transfer pressure")),
            ("hold_pressure_bar", N_("Hold pressure")),
            ("back_pressure_bar", N_("Back pressure")),
        ),
    ),
    (
        N_("Time"),
        (
            ("fill_time_s", N_("Fill time")),
            ("hold_time_s", N_("Hold time")),
            ("recovery_time_s", N_("Recovery time")),
            ("cycle_time_s", N_("Cycle time")),
        ),
    ),
    (
        N_("Speed, torque, temperature, weight"),
        (
            ("screw_speed_rpm", N_("Screw speed")),
            ("injection_speed_mm_s", N_("Injection speed")),
            ("screw_torque_pct", N_("Screw torque")),
            ("melt_temp_c", N_("Melt temperature")),
            ("oil_temp_c", N_("Oil temperature")),
            ("part_weight_g", N_("Part weight, whole shot")),
        ),
    ),
)
