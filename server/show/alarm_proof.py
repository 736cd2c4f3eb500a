"""The proof that the alarm budget is kept, from `shared/alarm_proof.json`, as tables and a help chapter."""

import dataclasses
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from server.language import Measured, _, say
from server.words.catalogue import shared_object
from server.words.numbers import capital, fixed, whole

Found = Mapping[str, Any]


@dataclasses.dataclass(frozen=True)
class PlainTable:
    """A table of text; the first cell of a row names it."""

    title: str
    under: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def proof_tables() -> tuple[PlainTable, ...]:
    """False alarms of healthy presses against the budget, and what it costs in shots."""
    found = shared_object("alarm_proof")
    return _healthy(found), _delays(found)


def _healthy(found: Found) -> PlainTable:
    rows = [_healthy_row(row) for row in (*found["healthy"], found["all"])]
    every = [whole(one) for one in found["every_rule_per_press_week"]]
    every.append(whole(round(sum(found["every_rule_per_press_week"]) / len(every))))
    budget = found["all"]["budget"]
    return PlainTable(
        title=_("False alarms on healthy presses"),
        under=(
            _(
                "{press_weeks} invented press-weeks, round the clock, a shot every 20 s, nine charts"
                " a press. The budget is {budget:g} a press-week. Beside it: findings a press-week of"
                " all eight run rules on single shots of the six signals, which is why they call"
                " nobody.",
                press_weeks=whole(found["all"]["press_weeks"]),
                budget=budget,
            )
        ),
        head=(
            _("Presses"),
            _("Press-weeks"),
            _("False alarms"),
            _("A press-week"),
            _("95 % interval"),
            _("All run rules"),
        ),
        rows=tuple((*row, rules) for row, rules in zip(rows, every, strict=True)),
    )


def _healthy_row(row: Found) -> tuple[str, ...]:
    name = say(str(row["name"])).replace("phi", "φ").replace("sigma", "σ")
    return (
        name if name.startswith("φ") else capital(name),
        whole(row["press_weeks"]),
        whole(row["false_alarms"]),
        fixed(row["per_press_week"], 3),
        _("{low} to {high}", low=fixed(row["low"], 3), high=fixed(row["high"], 3)),
    )


def _delays(found: Found) -> PlainTable:
    phis = list(dict.fromkeys(row["phi"] for row in found["delays"]))
    names = list(dict.fromkeys(row["name"] for row in found["delays"]))
    by_key = {(row["name"], row["phi"]): row for row in found["delays"]}
    rows = []
    for name in names:
        cells = []
        for phi in phis:
            row = by_key[(name, phi)]
            cells.append(f"{whole(round(row['mean_shots']))} ({whole(round(row['nine_of_ten_within']))})")
        naive = by_key[(name, phis[0])]["every_rule_mean_shots"]
        rows.append((capital(name).replace("sigma", "σ"), *cells, fixed(naive, 0)))
    return PlainTable(
        title=_("Shots until a step is found"),
        under=(
            _(
                "On average, and in brackets within how many in nine of ten cases, when the press has"
                " been watched long enough. A leak moves a swept stroke of {stroke} that"
                " scatters by {scatter}. All run rules are faster because they also call when"
                " nothing is wrong.",
                stroke=Measured("length", found["stroke_mm"], 0),
                scatter=Measured("length", found["sigma_mm"], 2),
            )
        ),
        head=(_("Step"), *(f"φ {phi:g}" for phi in phis), _("All run rules, φ 0")),
        rows=tuple(rows),
    )


def proof_chapter() -> tuple[str, str, str]:
    """(anchor, title, body) of the help chapter."""
    body = Markup("<p>{}</p><p>{}</p>").format(
        Markup(
            _(
                "The plant says how many false alarms it tolerates. Each press may spend its share, and its"
                " charts are planned so that all of them together stay within it, the error of what little is"
                ' known of a press included. How the budget stands: <a href="/alarm-budget">alarm budget</a>.'
            )
        ),
        _(
            "What is promised: as long as a press keeps its level and its scatter but for the changes that"
            " are recorded, its charts raise no more false alarms than that, whatever the autocorrelation"
            " up to 0.6, tails as heavy as Student's t with three degrees, and display steps up to twice the"
            " scatter. What is not: a level that wanders slowly is only allowed for as far as it was seen to"
            " wander in the first week, and a change nobody recorded is found like a fault."
        ),
    )
    for table in proof_tables():
        body += _table(table)
    return "alarm-proof", _("How few alarms are false, and how fast a fault is found"), str(body)


def _table(table: PlainTable) -> Markup:
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(cell) for cell in table.head)
    rows = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup('<th scope="row">{}</th>').format(row[0])
            + Markup("").join(Markup("<td>{}</td>").format(cell) for cell in row[1:])
        )
        for row in table.rows
    )
    return Markup(
        '<h3>{}</h3><p class="note">{}</p><div class="scroll" tabindex="0" role="group" aria-label="{}">'
        '<table class="list"><thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>'
    ).format(table.title, table.under, table.title, head, rows)
