"""One action of a case with the shots before and after it, as a page prints it."""

from collections.abc import Sequence
from typing import Final

from markupsafe import Markup

from server.derived.case_proof import CaseProof
from server.language import N_, _, plural
from server.maths.results import Undetermined
from server.show.case_rows import ActionBlock, Cell, WitnessRow
from server.show.plant_words import Plant
from server.show.scale import Scale
from server.show.svg import drawing, line
from server.store.cases import CaseAction
from server.valve.proof_of_fix import SHOTS_WANTED, Figure, Witness
from server.words.case_words import ACTION, PROVEN, WITNESS, WITNESS_STATE
from server.words.catalogue import worded
from server.words.numbers import fixed, percent, signed, whole

_SAYS: Final = {
    "fixed": N_("It is fixed."),
    "better": N_("It is better, not all well."),
    "no_change": N_("Nothing has changed."),
    "worse": N_("It has become worse."),
    "cannot_say": N_("The shots cannot say."),
}


def verdict_words(verdict: str) -> str:
    """A verdict as a sentence."""
    return _SAYS.get(verdict, worded(PROVEN, verdict))


def action_block(action: CaseAction, proof: CaseProof, plant: Plant) -> ActionBlock:
    """The block of one action."""
    what = worded(ACTION, action.kind)
    title = f"{what[0].upper()}{what[1:]}" + (f": {action.what}" if action.what else "")
    come = SHOTS_WANTED - proof.more
    return ActionBlock(
        number=action.action_no,
        title=title,
        at_text=plant.moment(action.at_ms),
        who=action.who,
        answer=_answer(proof),
        under=_under(proof, plant),
        rows=_rows(proof, plant),
        proposed=proof.verdict,
        proposed_text=worded(PROVEN, proof.verdict) if proof.verdict else "",
        done_pct=round(100 * come / SHOTS_WANTED),
        progress_text=_(
            "{come} of {shots_wanted} shots after it, settling shots not counted",
            come=whole(come),
            shots_wanted=SHOTS_WANTED,
        ),
    )


def _answer(proof: CaseProof) -> str:
    if proof.more:
        return _(
            "Not yet: {more} more {shot} before anything can be said.",
            more=whole(proof.more),
            shot=plural(proof.more, "shot", "shots"),
        )
    if isinstance(proof.found, Undetermined):
        return _("It cannot be said: {reason}.", reason=proof.found.reason)
    return f"{verdict_words(proof.verdict)} {proof.found.text}"


def _under(proof: CaseProof, plant: Plant) -> str:
    if isinstance(proof.found, Undetermined):
        return _("Compared with the shots since {since}", since=plant.moment(proof.from_ms))
    n = _(
        "{shots_before} shots before, {shots_after} after",
        shots_before=whole(proof.found.shots_before),
        shots_after=whole(proof.found.shots_after),
    )
    dropped = _("{settling} settling shots left out", settling=whole(proof.settling))
    against = (
        _("startup record {baseline_no}", baseline_no=proof.baseline_no)
        if proof.baseline_no
        else _("no startup record")
    )
    return _(
        "{n} · {dropped} · {against} · intervals 97.5 % each, autocorrelation allowed for",
        n=n,
        dropped=dropped,
        against=against,
    )


def _rows(proof: CaseProof, plant: Plant) -> tuple[WitnessRow, ...]:
    rows: list[WitnessRow] = []
    if not isinstance(proof.found, Undetermined):
        rows += [_witness(one, plant) for one in (proof.found.level, proof.found.scatter)]
    rows += _cushion(proof, plant)
    rows.append(
        WitnessRow(
            _("Leak-likelihood"), "", Cell(_chance(proof.likelihood_before)),
            Cell(_chance(proof.likelihood_after)), Cell(""),
            "" if proof.likelihood_after is None else _("below one half") if proof.likelihood_after < 0.5
            else _("still above one half"),
        )
    )  # fmt: skip
    return tuple(rows)


def _cushion(proof: CaseProof, plant: Plant) -> list[WitnessRow]:
    """Shown because people read it; it proves nothing, since a raised shot size hides a leak from it."""
    if proof.cushion_before_mm is None or proof.cushion_after_mm is None:
        return []
    unit = plant.units.written("length")
    before, after = (
        fixed(plant.units.shown("length", one), 2)
        for one in (proof.cushion_before_mm, proof.cushion_after_mm)
    )
    change = Cell("")
    if proof.cushion_change is not None:
        found = proof.cushion_change
        mid, low, high = (
            signed(plant.units.shown_difference("length", one))
            for one in (found.difference, found.lower, found.upper)
        )
        change = Cell(f"{mid} {unit}", _("{low} to {high}", low=low, high=high))
    return [
        WitnessRow(
            _("Cushion, mean, {unit}", unit=unit), "", Cell(before), Cell(after), change, _("shown only")
        )
    ]


def _chance(value: float | None) -> str:
    return _("not judged") if value is None else percent(value)


def _witness(one: Witness, plant: Plant) -> WitnessRow:
    unit = plant.units.written("length")
    level = one.name == "level"
    show = plant.units.shown if level else plant.units.shown_difference

    def figure(each: Figure) -> Cell:
        low, high = (show("length", end) for end in (each.lower, each.upper))
        return Cell(
            fixed(show("length", each.value), 3), _("{low} to {high}", low=fixed(low, 3), high=fixed(high, 3))
        )

    if level:
        low, mid, high = (
            plant.units.shown_difference("length", end)
            for end in (one.change.lower, one.change.value, one.change.upper)
        )
        change = Cell(f"{signed(mid)} {unit}", _("{low} to {high}", low=signed(low), high=signed(high)))
    else:
        change = Cell(
            f"× {one.change.value:.2f}",
            _("{lower:.2f} to {upper:.2f}", lower=one.change.lower, upper=one.change.upper),
        )
    return WitnessRow(
        name=f"{worded(WITNESS, one.name)}, {unit}",
        record="none" if one.record is None else fixed(show("length", one.record), 3),
        before=figure(one.before),
        after=figure(one.after),
        change=change,
        says=worded(WITNESS_STATE, one.state),
        picture=_picture(one),
    )


def _picture(one: Witness) -> Markup:
    """Before above, after below, on one ruler, the record as a hairline."""
    ends = [one.before.lower, one.before.upper, one.after.lower, one.after.upper]
    ends += [] if one.record is None else [one.record]
    air = 0.08 * (max(ends) - min(ends)) or 0.1
    across = Scale(low=min(ends) - air, high=max(ends) + air, left=2.0, right=158.0)
    parts: list[Markup] = []
    if one.record is not None:
        parts.append(line(across.at(one.record), 2.0, across.at(one.record), 30.0, "proof-record"))
    for y, each, look in ((10.0, one.before, "proof-before"), (22.0, one.after, "proof-after")):
        parts += _span(across, y, each, look)
    alt = _(
        "{witness}: before above, after below, startup record as a line", witness=worded(WITNESS, one.name)
    )
    return drawing(parts, width=160.0, height=32.0, alt=alt, class_="proof")


def _span(across: Scale, y: float, each: Figure, look: str) -> Sequence[Markup]:
    at = across.at(each.value)
    return (
        line(across.at(each.lower), y, across.at(each.upper), y, look),
        line(at, y - 4.0, at, y + 4.0, look),
    )
