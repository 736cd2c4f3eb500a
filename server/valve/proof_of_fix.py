"""Did it help? The shots before a change against those after it, both against the startup record.

Two witnesses speak: the level of the swept stroke, which grows with a leak, and its scatter, which grows
where the valve closes late. Each is asked whether it was off before, and where it stands after. The
bands are common practice, no source; they are stated with every verdict.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from server.language import N_
from server.maths.autocorrelation import autocorrelation, effective_for_mean, effective_for_scatter
from server.maths.comparison import compare_means, compare_scatter
from server.maths.intervals import chi2_interval
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]

#: Shots after a change before anything is said of it; fewer see only gross differences.
SHOTS_WANTED: Final = 50
#: Shots dropped after a change while the press settles.
SETTLING: Final = 20
#: A level within so many sigmas of the record is back at it; two start-ups differ by that much.
LEVEL_BAND: Final = 2.0
#: A scatter below this multiple of the record's is back at it.
SCATTER_BAND: Final = 1.5
#: Two witnesses share the risk of 5 %.
CONFIDENCE: Final = 0.975
#: A valve still judged likelier to leak than not is not called fixed.
LIKELY: Final = 0.5

VERDICTS: Final = ("fixed", "better", "no_change", "worse", "cannot_say")


@dataclass(frozen=True)
class Figure:
    """An estimate with its interval."""

    value: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Witness:
    """name: `level` in mm or `scatter` (sd in mm; `change` then is the ratio of sds after to before).

    record: centre or sigma of the startup record, None without one. state: `quiet` (was not off and is
    not), `back`, `improved`, `unchanged`, `worsened`, `open` (too unsure).
    """

    name: str
    record: float | None
    before: Figure
    after: Figure
    change: Figure
    state: str
    #: How far it was off before, in its bands; 0 without a record.
    off: float = 0.0


@dataclass(frozen=True)
class Proof:
    """What the shots before and after say; `verdict` one of VERDICTS, `text` the reason in a sentence."""

    level: Witness
    scatter: Witness
    shots_before: int
    shots_after: int
    verdict: str
    text: str


def proof_of_fix(
    before: npt.ArrayLike,
    *,
    after: npt.ArrayLike,
    center: float | None = None,
    sigma: float | None = None,
    likelihood_after: float | None = None,
) -> Proof | Undetermined:
    """Swept stroke before and after a change, in mm.

    Parameters
    ----------
    before, after : array_like, shapes (n,) and (m,)
        Swept stroke in order of time, settling shots left out; NaN is a gap.
    center, sigma : float, optional
        Of the startup record; without both no level counts as back, and the best verdict is `better`.
    likelihood_after : float, optional
        Leak-likelihood after the change, 0 to 1.

    Returns
    -------
    Proof or Undetermined
        Undetermined with fewer than SHOTS_WANTED values on either side or sides that do not scatter.

    Notes
    -----
    Means by Welch's test, scatters by the ratio interval of `comparison.compare_scatter`, all with
    effective sample sizes, each at 97.5 % so that both together err in at most 5 % (Bonferroni).
    `back`: clearly moved towards the record, and the whole interval within LEVEL_BAND sigmas of its
    centre, or below SCATTER_BAND times its sigma. `unchanged`: what is left of the difference is, as a
    whole interval, less than half of what was off; `no_change` asks it of the witness that was most off.

    Examples
    --------
    >>> rng = np.random.default_rng(5)
    >>> bad, good = 74.5 + rng.normal(0, 0.05, 200), 74.0 + rng.normal(0, 0.05, 100)
    >>> proof_of_fix(bad, after=good, center=74.0, sigma=0.05).verdict
    'fixed'
    >>> proof_of_fix(bad, after=bad[:100], center=74.0, sigma=0.05).verdict
    'no_change'
    """
    a, b = (np.asarray(one, dtype=np.float64).ravel() for one in (before, after))
    counts = int(np.isfinite(a).sum()), int(np.isfinite(b).sum())
    if min(counts) < SHOTS_WANTED:
        return Undetermined(
            N_(
                "{counts} shots before and {counts_2} after; {shots_wanted} of each needed",
                counts=counts[0],
                counts_2=counts[1],
                shots_wanted=SHOTS_WANTED,
            )
        )
    means = compare_means(a, second=b, confidence=CONFIDENCE)
    scatters = compare_scatter([a, b], confidence=CONFIDENCE)
    if isinstance(means, Undetermined):
        return means
    if isinstance(scatters, Undetermined):
        return scatters
    known = center is not None and sigma is not None and sigma > 0.0
    change = Figure(means.difference, means.lower, means.upper)
    ratio = Figure(scatters.ratios[1], scatters.ratio_lower[1], scatters.ratio_upper[1])
    level = _level(_mean(a), _mean(b), change, center if known else None, sigma if known else None)
    scatter = _scatter(_sd(a), _sd(b), ratio, sigma if known else None)
    verdict, text = _verdict((level, scatter), known=known, likelihood=likelihood_after)
    return Proof(level, scatter, counts[0], counts[1], verdict, text)


def _phi(values: Floats) -> float:
    found = autocorrelation(values)
    return 0.0 if isinstance(found, Undetermined) else max(0.0, found.phi)


def _mean(values: Floats) -> Figure:
    finite = values[np.isfinite(values)]
    worth = effective_for_mean(finite.size, phi=_phi(values))
    half = float(ndtri(0.5 + CONFIDENCE / 2.0) * finite.std(ddof=1)) / math.sqrt(worth)
    middle = float(finite.mean())
    return Figure(middle, middle - half, middle + half)


def _sd(values: Floats) -> Figure:
    finite = values[np.isfinite(values)]
    worth = effective_for_scatter(finite.size, phi=_phi(values))
    sd = float(finite.std(ddof=1))
    # An index over sigma, turned round: the sd's own interval.
    ends = chi2_interval(1.0 / sd, freedom=max(1.0, worth - 1.0), confidence=CONFIDENCE)
    return Figure(sd, 1.0 / ends.upper, 1.0 / ends.lower)


def _level(
    before: Figure, after: Figure, change: Figure, center: float | None, sigma: float | None
) -> Witness:
    if center is None or sigma is None:
        spread = (before.upper - before.lower) / 2.0
        state = _without_record(change, small=max(spread, 1e-9))
        return Witness("level", None, before, after, change, state)
    band = LEVEL_BAND * sigma
    was, now = (Figure(one.value - center, one.lower - center, one.upper - center) for one in (before, after))
    off = abs(was.value) > band and (was.lower > 0.0 or was.upper < 0.0)
    moved = change.lower > 0.0 or change.upper < 0.0
    inside = -band <= now.lower and now.upper <= band
    state = _state(
        off=off,
        towards=moved and abs(now.value) < abs(was.value),
        away=moved and abs(now.value) > abs(was.value) and abs(now.value) > band,
        inside=inside,
        still=max(abs(change.lower), abs(change.upper)) < 0.5 * abs(was.value),
    )
    return Witness("level", center, before, after, change, state, abs(was.value) / band)


def _scatter(before: Figure, after: Figure, ratio: Figure, sigma: float | None) -> Witness:
    if sigma is None:
        logs = Figure(math.log(ratio.value), math.log(ratio.lower), math.log(ratio.upper))
        return Witness("scatter", None, before, after, ratio, _without_record(logs, small=math.log(1.25)))
    was, now = before.value / sigma, after.value / sigma
    state = _state(
        off=was > SCATTER_BAND and before.lower > sigma,
        towards=ratio.upper < 1.0,
        away=ratio.lower > 1.0 and now > SCATTER_BAND,
        inside=after.upper < SCATTER_BAND * sigma,
        still=max(abs(math.log(ratio.lower)), abs(math.log(ratio.upper))) < 0.5 * math.log(max(was, 1.001)),
    )
    return Witness("scatter", sigma, before, after, ratio, state, was / SCATTER_BAND)


def _state(*, off: bool, towards: bool, away: bool, inside: bool, still: bool) -> str:
    if away:
        return "worsened"
    if not off:
        return "quiet"
    if towards:
        return "back" if inside else "improved"
    return "unchanged" if still else "open"


def _without_record(change: Figure, *, small: float) -> str:
    """Without a record down is better, since a leak raises both level and scatter."""
    if change.upper < 0.0:
        return "improved"
    if change.lower > 0.0:
        return "worsened"
    return "unchanged" if max(abs(change.lower), abs(change.upper)) < small else "open"


def _verdict(witnesses: Sequence[Witness], *, known: bool, likelihood: float | None) -> tuple[str, str]:
    states = [one.state for one in witnesses]
    if "worsened" in states:
        worse = witnesses[states.index("worsened")].name
        return "worse", N_("The {worse} of the swept stroke has moved further away.", worse=worse)
    speaking = [one for one in states if one != "quiet"]
    if not speaking:
        return "cannot_say", N_("Neither level nor scatter was off before: they can prove nothing.")
    if all(one == "back" for one in speaking):
        if likelihood is not None and likelihood >= LIKELY:
            return "better", N_("What was off is back, but the valve is still judged likely to leak.")
        return "fixed", N_("What was off before is back at the startup record.")
    if any(one in ("back", "improved") for one in speaking):
        how = N_("is not all back at the record") if known else N_("cannot be held against a startup record")
        return "better", N_("It has moved the right way, but {how}.", how=how)
    strongest = max((one for one in witnesses if one.state != "quiet"), key=lambda one: one.off)
    if strongest.state == "unchanged":
        return "no_change", N_(
            "The {name} was most off before, and it still is by about as much.", name=strongest.name
        )
    return "cannot_say", N_("The shots so far allow both: that it helped and that it did not.")
