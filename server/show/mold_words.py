"""A mold's capability as sentences."""

from collections.abc import Sequence

from server.language import _, plural, say
from server.maths.capability import Capability, Index
from server.maths.demand import chance_of_demand
from server.maths.percentiles import PercentileIndices
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.show.lanes import Limits
from server.show.pages import Fact
from server.words.numbers import count_word, fixed, number, percent, whole

#: Demanded Ppk where the plant states none (common practice, no source).
DEMAND_PPK = 1.33
#: Below this p the values are taken as not normal and the percentile method counts.
NOT_NORMAL_P = 0.005


def index_text(index: Index | None) -> str:
    """
    >>> from server.maths.capability import Index, Interval
    >>> index_text(Index(1.667, Interval(1.58, 1.76)))
    '1.67 (1.58 to 1.76)'
    """
    if index is None:
        return "–"
    return _(
        "{value} ({lower} to {upper})",
        value=fixed(index.value, 2),
        lower=fixed(index.interval.lower, 2),
        upper=fixed(index.interval.upper, 2),
    )


def is_normal(capability: Capability) -> bool:
    tested = capability.normality
    return isinstance(tested, Undetermined) or tested.p >= NOT_NORMAL_P


def counted_ppk(capability: Capability) -> float | None:
    """The index that counts: by percentiles where the values are not normal."""
    if not is_normal(capability) and isinstance(capability.percentile, PercentileIndices):
        return capability.percentile.ppk
    return None if capability.ppk is None else capability.ppk.value


def verdict_of(
    capability: Capability | Undetermined, stable: Stability | Undetermined, *, demand: float
) -> str:
    """What a press comes to, stability first, in the API's words; pages and the API both ask here.

    `undetermined`, `too_few_values`, `not_stable`, `no_limits`, `not_capable` or `capable`.

    >>> verdict_of(Undetermined("1 of 2 values needed"), Stability(True, "Stable."), demand=1.33)
    'undetermined'
    """
    if isinstance(capability, Undetermined):
        return "undetermined"
    if isinstance(stable, Undetermined):
        return "too_few_values"
    if not stable.stable:
        return "not_stable"
    value = counted_ppk(capability)
    if value is None:
        return "no_limits"
    return "not_capable" if value < demand else "capable"


def lane_verdict(
    capability: Capability, stable: Stability | Undetermined, *, demand: float
) -> tuple[str, str, bool]:
    """Verdict, detail (stability first), and whether the press falls short of the demand."""
    value = counted_ppk(capability)
    if value is None:
        return f"n {whole(capability.n)}", _("no limits of the drawing, so no index"), False
    verdict = verdict_of(capability, stable, demand=demand)
    word = _("Ppk {value}", value=fixed(value, 2))
    if isinstance(stable, Stability) and not stable.stable:
        why = say(stable.text).partition(".")[0].partition(": ")[2]
        return _("Not stable"), _("{why} · {word} describes no process", why=why, word=word), True
    steady = _("stable") if isinstance(stable, Stability) else stable.reason
    if is_normal(capability) and capability.ppk is not None:
        between = capability.ppk.interval
        detail = _(
            "{steady} · {lower} to {upper}",
            steady=steady,
            lower=fixed(between.lower, 2),
            upper=fixed(between.upper, 2),
        )
    else:
        detail = _("{steady} · by percentiles, since not normal", steady=steady)
    return word, detail, verdict == "not_capable"


def is_only_unstable(capability: Capability, *, demand: float) -> bool:
    """Whether a press that falls short does so for its stability alone."""
    value = counted_ppk(capability)
    return value is not None and value >= demand


def _with_interval(found: PercentileIndices) -> str:
    between = found.ppk_interval
    if isinstance(between, Undetermined):
        return _("{ppk} (interval: {reason})", ppk=fixed(found.ppk, 2), reason=between.reason)
    return _(
        "{ppk} ({lower} to {upper})",
        ppk=fixed(found.ppk, 2),
        lower=fixed(between.lower, 2),
        upper=fixed(between.upper, 2),
    )


def _chance(capability: Capability, demand: float) -> str:
    """How sure the demand is met, by the index that counts."""
    value, between = counted_ppk(capability), None
    if not is_normal(capability) and isinstance(capability.percentile, PercentileIndices):
        between = capability.percentile.ppk_interval
    elif capability.ppk is not None:
        between = capability.ppk.interval
    if value is None or between is None:
        return _("no index")
    if isinstance(between, Undetermined):
        return _("cannot be said: {reason}", reason=between.reason)
    chance = chance_of_demand(value, interval=between, demand=demand)
    return chance.reason if isinstance(chance, Undetermined) else percent(min(max(chance, 1e-9), 1.0 - 1e-9))


def facts_of(capability: Capability, unit: str, *, demand: float = DEMAND_PPK) -> tuple[Fact, ...]:
    """Every number of a lane, for those who want them."""
    tested = capability.normality
    normal = (
        tested.reason
        if isinstance(tested, Undetermined)
        else _("Anderson–Darling p {p_text}", p_text=_p_text(tested.p))
    )
    by_percentiles = (
        _with_interval(capability.percentile)
        if isinstance(capability.percentile, PercentileIndices)
        else capability.percentile.reason
    )
    return (
        Fact(_("Values"), whole(capability.n)),
        Fact(_("Mean"), f"{number(capability.mean, 5)} {unit}"),
        Fact(
            _("σ within, total"),
            f"{number(capability.sigma_within)}, {number(capability.sigma_total)} {unit}",
            "sigma-within",
        ),
        Fact(_("Cp"), index_text(capability.cp), "pp-cp"),
        Fact(_("Cpk"), index_text(capability.cpk), "cpk"),
        Fact(_("Pp"), index_text(capability.pp), "pp-cp"),
        Fact(_("Ppk"), index_text(capability.ppk), "ppk"),
        Fact(_("Ppk ≥ {demand:g}, how sure", demand=demand), _chance(capability, demand), "demand-chance"),
        Fact(_("Cpm"), index_text(capability.cpm), "cpm"),
        Fact(_("Ppk by percentiles"), by_percentiles, "percentile-method"),
        Fact(_("Normal?"), normal, "normality"),
        Fact(
            _("Outside the limits"),
            _(
                "{ppm_observed} ppm seen, {ppm} expected",
                ppm_observed=whole(capability.ppm_observed),
                ppm=whole(capability.ppm),
            ),
            "outside-limits",
        ),
    )


def signal_sentence(
    fit: Sequence[str], short: Sequence[str], *, limits: Limits, only_unstable: bool = False
) -> str:
    """One verdict on a signal over all presses.

    >>> signal_sentence(["P03", "P05"], ["P07"], limits=Limits(1.0, 2.0))
    'capable on two presses, not on P07'
    """
    if not limits.known():
        return _("no limits of the drawing are entered")
    if not fit and not short:
        return _("not enough values yet")
    if not short:
        return _("capable on {presses}", presses=_presses(fit))
    if not fit:
        return _(
            "not {value} on {presses}",
            value=_("stable") if only_unstable else _("capable"),
            presses=_presses(short),
        )
    return _(
        "capable on {presses}, not{value} on {named}",
        presses=_presses(fit),
        value=_(" stable") if only_unstable else "",
        named=_named(short),
    )


def mold_answer(
    mold: str, fit: Sequence[str], short: Sequence[str], *, limited: bool, only_unstable: bool = False
) -> str:
    """`only_unstable`: those that fall short would be capable, were they stable.

    >>> mold_answer("M-113", ["P03", "P05"], ["P07"], limited=True)
    'M-113 is capable on two presses and not on P07.'
    >>> mold_answer("M-113", [], ["P07"], limited=True, only_unstable=True)
    'M-113 is not stable on P07, so nothing can be said about capability there.'
    """
    if not limited:
        return _(
            "{mold} has no limits of its drawing yet, so nothing can be said about capability.", mold=mold
        )
    if not fit and not short:
        return _("{mold} has too few measured parts to say anything.", mold=mold)
    if not short:
        return _("{mold} is capable on {presses}.", mold=mold, presses=_presses(fit))
    if not fit and only_unstable:
        return _(
            "{mold} is not stable on {presses}, so nothing can be said about capability there.",
            mold=mold,
            presses=_presses(short),
        )
    if not fit:
        return _("{mold} is not capable on {presses}.", mold=mold, presses=_presses(short))
    fails = _("not stable") if only_unstable else _("not")
    return _(
        "{mold} is capable on {presses} and {fails} on {named}.",
        mold=mold,
        presses=_presses(fit),
        fails=fails,
        named=_named(short),
    )


def stands_out(fit: Sequence[str], short: Sequence[str], *, only_unstable: bool = False) -> str:
    """Where to look first; `only_unstable` as in `mold_answer`."""
    if len(short) == 1 and len(fit) >= 2:
        return _("the press stands out, not the mold")
    if len(short) >= 2 and not fit:
        if only_unstable:
            return _("no press is stable: look for what they share, mold, material and lots, first")
        return _("all presses fall short: look at mold, material and limits first")
    return ""


def _presses(names: Sequence[str]) -> str:
    if len(names) == 1:
        return names[0]
    return f"{count_word(len(names))} {plural(len(names), 'press', 'presses')}"


def _named(names: Sequence[str]) -> str:
    return (
        names[0] if len(names) == 1 else _("{join} and {names}", join=", ".join(names[:-1]), names=names[-1])
    )


def _p_text(p: float) -> str:
    """
    >>> _p_text(0.0312), _p_text(1e-9)
    ('0.031', 'under 0.001')
    """
    return _("under 0.001") if p < 0.001 else number(p, 2)
