"""Change a valve at the next stop, or wait: both costs in words, for the valve's page and the case."""

import dataclasses

from server.derived.valve_choice import ChangeChoice
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
        return ChoiceBlock(f"Cannot be compared: {choice.reason}.", href=href)
    costs = choice.costs

    def money(value: float) -> str:
        return f"{whole(round(value))} {choice.currency}".strip()

    rows = (
        ("Change at the next stop", money(costs.change)),
        ("of that for a good valve pulled needlessly", money(costs.needless_share)),
        ("Wait for the stop after next", money(costs.wait)),
    )
    lines = [
        f"Over {whole(choice.shots)} shots, with {percent(choice.likelihood)} likelihood that it leaks now.",
        "Changing is the cheaper way from a likelihood of "
        + (f"{percent(costs.break_even)} on." if costs.break_even is not None else "none on: never."),
    ]
    if choice.life_known:
        lines.append(f"A sound one fails meanwhile with a chance of {percent(choice.fails_meanwhile)}.")
    else:
        lines.append(
            "That a sound one fails meanwhile is left out, since too few have failed so far:"
            " waiting looks cheaper than it is."
        )
    title = "Change it" if costs.cheaper == "change" else "Wait"
    return ChoiceBlock(f"{title}: on average the cheaper way.", rows, tuple(lines), href)
