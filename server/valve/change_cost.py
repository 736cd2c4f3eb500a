"""Change the valve at the next stop, or wait for the one after: what either costs on average.

Only the plant's own figures go in, and the likelihood. The answer is an expectation over what is not
known: whether the valve leaks now, and whether a sound one fails before the stop after next.
"""

import math
from dataclasses import dataclass

from server.errors import InvalidError
from server.language import N_


@dataclass(frozen=True)
class CostFigures:
    """In the plant's currency.

    change: a planned change with its valve. needless: a pull that finds a good valve, which goes back in.
    failure: an unplanned stop with its change. scrap_per_1000: of a leaking valve, per thousand shots.
    shots_between_stops: until the stop after the next one.
    """

    change: float
    needless: float
    failure: float
    scrap_per_1000: float
    shots_between_stops: float


@dataclass(frozen=True)
class CostCompared:
    """Expected costs of changing and of waiting; `needless_share` of the first is for a good valve pulled.

    break_even: likelihood of a leak from which changing is cheaper; None where it never is, 0.0 where it
    always is.
    """

    change: float
    wait: float
    needless_share: float
    break_even: float | None

    @property
    def cheaper(self) -> str:
        """`change` or `wait`."""
        return "change" if self.change < self.wait else "wait"


def compare_costs(figures: CostFigures, *, likelihood: float, fails_meanwhile: float) -> CostCompared:
    """Expected cost of either.

    likelihood: that the valve leaks now, 0 to 1. fails_meanwhile: chance that a sound one fails within
    shots_between_stops, 0 to 1. Formula (derived), with p and q for these two:

        change = p·change + (1 - p)·needless
        wait   = p·(scrap·shots/1000 + failure) + (1 - p)·q·failure

    A leaking valve is taken to end in an unplanned stop when it is left in; a good one that is pulled
    goes back in. Negative or infinite figures raise InvalidError.

    >>> figures = CostFigures(2_000, 900, 6_000, 50, 20_000)
    >>> found = compare_costs(figures, likelihood=0.5, fails_meanwhile=0.0)
    >>> found.change, found.wait, found.needless_share, found.cheaper
    (1450.0, 3500.0, 450.0, 'change')
    >>> round(found.break_even, 3)
    0.153
    """
    for name in ("change", "needless", "failure", "scrap_per_1000", "shots_between_stops"):
        value = getattr(figures, name)
        if not (math.isfinite(value) and value >= 0.0):
            raise InvalidError(
                N_("{name} is {value}; it has to be a number of at least 0", name=name, value=value),
                field=name,
            )
    for name, share in (("likelihood", likelihood), ("fails_meanwhile", fails_meanwhile)):
        if not 0.0 <= share <= 1.0:
            raise InvalidError(
                N_("{name} is {share}; it has to be from 0 to 1", name=name, share=share), field=name
            )
    leaking = figures.scrap_per_1000 * figures.shots_between_stops / 1000.0 + figures.failure
    sound = fails_meanwhile * figures.failure
    needless = (1.0 - likelihood) * figures.needless
    return CostCompared(
        change=likelihood * figures.change + needless,
        wait=likelihood * leaking + (1.0 - likelihood) * sound,
        needless_share=needless,
        break_even=_break_even(leaking - figures.change, figures.needless - sound),
    )


def _break_even(gain: float, loss: float) -> float | None:
    """p at which p·gain = (1 - p)·loss: what changing saves on a leaking valve and costs on a sound one."""
    if loss <= 0.0:
        return 0.0 if gain >= 0.0 else None
    if gain <= 0.0:
        return None
    return loss / (gain + loss)
