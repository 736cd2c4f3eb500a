"""Stability comes before capability: whether a stretch may be summed up in one number at all."""

from dataclasses import dataclass

import numpy.typing as npt

from server.language import N_
from server.maths.baseline import PhaseOne, phase_one
from server.maths.results import Undetermined


@dataclass(frozen=True)
class Stability:
    """Whether a capability may be stated at all, and the sentence for the page."""

    stable: bool
    text: str


def stability(values: npt.ArrayLike) -> Stability | Undetermined:
    """Stability verdict that stands before any capability.

    Parameters
    ----------
    values : array_like, shape (n,)
        Measurements in order of time; NaN is a gap.

    Returns
    -------
    Stability or Undetermined
        Undetermined with fewer than 30 usable values.

    Notes
    -----
    The block-mean test of `baseline.phase_one`, and no more than 1 % of the values far off.

    Examples
    --------
    >>> stability([1.0]).reason
    '1 of 30 usable values needed for a baseline'
    """
    return judge(phase_one(values))


def judge(found: PhaseOne | Undetermined) -> Stability | Undetermined:
    """The verdict of `stability` on a baseline that is there already.

    Examples
    --------
    >>> judge(Undetermined("nothing to judge")).reason
    'nothing to judge'
    """
    if isinstance(found, Undetermined):
        return found
    far = sum(e.reason in ("outlier", "transient", "warm_up") for e in found.exclusions)
    if not found.stable:
        return Stability(False, N_("Not stable: the level moved. These indices describe no process."))
    if far > max(1, found.n_used // 100):
        return Stability(False, f"Not stable: {far} values lie far off. Find out why before using this.")
    return Stability(True, "Stable over this stretch.")
