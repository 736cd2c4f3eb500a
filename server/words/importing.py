"""What an import asks and flags, in words: one sentence each, with its figure and the way out."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from server.maths.results import Undetermined
from server.valve.log_checks import ConstantSum
from server.valve.signals import DoseLag

_COLUMNS: Final = {
    "counter": "the press's cycle counter",
    "at": "the time of each shot",
    "shot_size": "the shot size (where recovery stopped, or the metered volume)",
    "cushion": "the cushion",
}

#: What an import is doing.
STATE: Final = {
    "uploaded": "looked at, nothing stored yet",
    "waiting": "waits for the import before it",
    "running": "being stored",
    "done": "stored",
    "cancelled": "cancelled; what was stored until then stays",
    "failed": "failed; what was stored until then stays",
    "undoing": "being undone",
    "undone": "undone",
}


def question_text(code: str, about: str, facts: Mapping[str, Any]) -> str:
    """A question as a person is asked it."""
    return _QUESTIONS[code](about, facts)


_QUESTIONS: Final[dict[str, Callable[[str, Mapping[str, Any]], str]]] = {
    "column": lambda about, _: f"Which column holds {_COLUMNS[about]}? None is plainly named so.",
    "press": lambda _about, _facts: "Which press are these shots of? No column names one.",
    "time_zone": lambda _about, _facts: "Whose time is it? The times have no offset.",
    "date_order": lambda _about, _facts: "Does the day come first, or the month? These dates read both ways.",
    "presses": lambda _about, facts: (
        f"The file names {len(facts['presses'])} presses ("
        + ", ".join(f"{press}: {rows}" for press, rows in list(facts["presses"].items())[:4])
        + "). Take all of them, or only one?"
    ),
    "cavities": lambda _about, facts: (
        f"{facts['rows']} of {facts['of']} rows repeat the counter and time of the row before, as logs with"
        " a row for each cavity do. A shot is stored once: the other rows become duplicates or"
        " contradictions, unless they are made one shot with the part weights added up."
    ),
    "injected": lambda about, _: (
        f"Is “{about}” what was metered, or what was injected? An injected volume is the cushion over"
        " again and no shot size; leave it out if another column holds the metered one."
    ),
}


def flag_text(code: str, field: str, facts: Mapping[str, Any]) -> str:
    """What looks wrong, and what to do about it."""
    return _FLAGS[code](field, facts)


def _unit_text(field: str, facts: Mapping[str, Any]) -> str:
    return (
        f"{field} lies at {facts['value']:.3g}, unusual for that unit: if the file means {facts['maybe']},"
        " choose it beside the column"
    )


_FLAGS: Final[dict[str, Callable[[str, Mapping[str, Any]], str]]] = {
    "unit": _unit_text,
    "wrapped": lambda field, facts: (
        f"{facts['rows']} of the rows looked at read {field} near {facts['value']:.6g}: a small"
        f" negative ({facts['maybe']}) kept as an unsigned number. Such rows are refused, unless they"
        " are read as signed"
    ),
    "rejected": lambda _field, facts: (
        f"{facts['rows']} of the rows looked at are refused: {facts['example']}"
    ),
    "two_counters": lambda _field, facts: (
        f"{facts['rows']} of {facts['of']} rows follow another cycle counter: a second press seems to write"
        " under this name. Split the file, or map the column that names the press"
    ),
    "no_getid": lambda _field, _facts: (
        "A report states no units; without its GETID file they are taken as mm, cm³, bar, s and °C."
        " Add that file, or choose the units beside the columns"
    ),
    "unsure": lambda field, facts: f"“{facts['column']}” is taken for {field} by part of its name: check it",
}


def sum_text(column: str, found: ConstantSum | Undetermined) -> str:
    """The constant-sum test of a column with its figures."""
    if isinstance(found, Undetermined):
        return f"“{column}”: metered or injected cannot be told: {found.reason}."
    figures = (
        f"from shot to shot it moves with the cushion at correlation {found.correlation:+.2f}, their sum"
        f" scatters {found.sum_share:.2f} times as much as it does ({found.pairs:,} pairs)"
    )
    if found.injected:
        return f"“{column}” is what was injected: its sum with the cushion is constant; {figures}."
    if found.injected is False:
        return f"“{column}” was metered: {figures}."
    return f"“{column}”: metered or injected is not clear; {figures}."


def lag_text(found: DoseLag | Undetermined, *, set_to: int | None = None) -> str:
    """Which dose belongs to which shot, and how sure that is."""
    if isinstance(found, Undetermined):
        detected = f"It cannot be told from the shots: {found.reason}"
    else:
        better = "the dose of the shot before" if found.scatter[1] < found.scatter[0] else "its own dose"
        figures = (
            f"swept stroke scatters {found.ratio:.2f} times less with {better}; chance alone reaches"
            f" {found.needed:.2f} ({found.moves:,} differences)"
        )
        if found.lag is None:
            detected = f"The shots leave it open: {figures}"
        else:
            used = "the dose reported with the shot before" if found.lag else "the dose reported with it"
            detected = f"A shot uses {used}: {figures}"
    if set_to is None:
        return detected + "."
    return f"Set to {set_to} by the plant. {detected}."


#: What a column can be read as, by group, in the order they are offered.
TARGETS: Final[tuple[tuple[str, tuple[tuple[str, str], ...]], ...]] = (
    ("The shot", (
        ("counter", "Cycle counter"), ("at", "Date and time"), ("press", "Press"), ("mold", "Mold"),
        ("material", "Material"), ("lot", "Lot"), ("setup", "Set-up"), ("quality", "Quality"),
        ("box", "Box"), ("serial", "Serial number"),
    )),
    ("Stroke and volume", (
        ("shot_size_mm", "Shot size, position"), ("shot_size_cm3", "Shot size, metered volume"),
        ("cushion_mm", "Cushion, position"), ("cushion_cm3", "Cushion, volume"),
        ("decompression_mm", "Decompression"), ("start_position_mm", "Injection start"),
        ("transfer_position_mm", "Transfer position"), ("minimum_position_mm", "Most forward position"),
        ("drift_mm", "Screw drift after gate seal"),
    )),
    ("Pressure", (
        ("peak_pressure_bar", "Peak injection pressure"), ("transfer_pressure_bar", "Transfer pressure"),
        ("hold_pressure_bar", "Hold pressure"), ("back_pressure_bar", "Back pressure"),
    )),
    ("Time", (
        ("fill_time_s", "Fill time"), ("hold_time_s", "Hold time"), ("recovery_time_s", "Recovery time"),
        ("cycle_time_s", "Cycle time"),
    )),
    ("Speed, torque, temperature, weight", (
        ("screw_speed_rpm", "Screw speed"), ("injection_speed_mm_s", "Injection speed"),
        ("screw_torque_pct", "Screw torque"), ("melt_temp_c", "Melt temperature"),
        ("oil_temp_c", "Oil temperature"), ("part_weight_g", "Part weight, whole shot"),
    )),
)  # fmt: skip
