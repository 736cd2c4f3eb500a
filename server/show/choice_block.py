"""Change a valve at the next stop, or wait: both costs in words, for the valve's page and the case."""

import dataclasses

from server.derived.valve_choice import ChangeChoice
from server.language import _
from server.maths.results import Undetermined
from server.words.numbers import percent, whole


@dataclasses.dataclass(frozen=True)
class ChoiceBlock:
    """`answer` says which is cheaper, or why it cannot be said; `rows` are empty then."""

    answer: str
    rows: tuple[tuple[str, str], ...] = ()
    lines: tuple[str, ...] = ()
    #: The valve's own page, for the case.
    href: str = ""


def choice_block(choice: ChangeChoice | Undetermined, *, href: str = "") -> ChoiceBlock:
    if isinstance(choice, Undetermined):
        return ChoiceBlock(_("Cannot be compared: {reason}.", reason=choice.reason), href=href)
    costs = choice.costs

    def money(value: float) -> str:
        return f"{whole(round(value))} {choice.currency}".strip()

    rows = (
        (_("Change at the next stop"), money(costs.change)),
        (_("of that for a good valve pulled needlessly"), money(costs.needless_share)),
        (_("Wait for the stop after next"), money(costs.wait)),
    )
    lines = [
        _(
            "Over {shots} shots, with {likelihood} likelihood that it leaks now.",
            shots=whole(choice.shots),
            likelihood=percent(choice.likelihood),
        ),
        _("Changing is the cheaper way from a likelihood of ")
        + (
            _("{break_even} on.", break_even=percent(costs.break_even))
            if costs.break_even is not None
            else _("none on: never.")
        ),
    ]
    if choice.life_known:
        lines.append(
            _(
                "A sound one fails meanwhile with a chance of {fails_meanwhile}.",
                fails_meanwhile=percent(choice.fails_meanwhile),
            )
        )
    else:
        lines.append(
            _(
                "That a sound one fails meanwhile is left out, since too few have failed so far:"
                " waiting looks cheaper than it is."
            )
        )
    title = _("Change it") if costs.cheaper == "change" else _("Wait")
    return ChoiceBlock(_("{title}: on average the cheaper way.", title=title), rows, tuple(lines), href)
