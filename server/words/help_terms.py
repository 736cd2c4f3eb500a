"""What each term and rule means, its formula and its source, as the help page and its links show them."""

from typing import Final

from server.language import N_, _
from server.words.catalogue import Entry, entry_of, shared_entries
from server.words.help_checks import CHECKS

_OWN_TERMS: Final = (
    Entry(
        id="likelihood",
        name=N_("Leak-likelihood"),
        meaning=(
            N_(
                "Probability that the valve leaks, closes late or does not close, given the shots"
                " since the startup record and the plant's assumed share of leaking valves. Evidence"
                " multiplies the odds."
            )
        ),
        formula=N_("log-odds = prior + sum of terms; likelihood = 1 ÷ (1 + exp(−log-odds))"),
        source=N_("Calibrated on simulated presses until real inspections exist."),
    ),
    Entry(
        id="startup-record",
        name=N_("Startup record"),
        meaning=(
            N_(
                "What each signal was when the press ran as it should: middle, scatter and limits."
                " Warm-up, restarts and outliers are left out and counted."
            )
        ),
        formula=N_("limits = middle ± 3 σ, σ never under one display step"),
        source=N_("ISO 7870-2 for the limits; σ widened for autocorrelation."),
    ),
    Entry(
        id="qualified",
        name=N_("Qualified, relative only"),
        meaning=(
            N_(
                "A startup record is qualified when a drift check that held and a short-shot study"
                " that repeated were made on the same valve within 30 days of it. Without both it is"
                " relative only: it shows whether something has changed since, not whether the valve"
                " was good when it began."
            )
        ),
        formula="",
        source=N_("Common practice, no source."),
    ),
    Entry(
        id="effect-size",
        name=N_("Effect size (g)"),
        meaning=(
            N_(
                "How far two stretches lie apart, in units of their usual scatter. It says how much;"
                " that it is more than chance is asked of all signals together."
            )
        ),
        formula=N_("g = c(m) · (mean 2 − mean 1) ÷ √((s1² + s2²) ÷ 2), m effective degrees of freedom"),
        source=N_("Hedges 1981 for g; Welch 1947 and Holm 1979 for chance."),
    ),
    Entry(
        id="set-up",
        name=N_("Set-up"),
        meaning=(
            N_(
                "What a press ran with: mold, material, name and set-points. A mold that comes back"
                " finds its last approved startup record by itself; under another material or named"
                " set-up it has none."
            )
        ),
        formula="",
        source="",
    ),
    Entry(
        id="stroke-strip",
        name=N_("Stroke strip"),
        meaning=(
            N_(
                "One shot to scale on a bare ruler, from shot size on the right to cushion on the"
                " left. Dashed above: startup record. Solid: the newest shots, with a pale band where"
                " nine in ten lie."
            )
        ),
        formula="",
        source="",
    ),
)

_INDICES: Final = (
    Entry(
        id="ppk",
        name=N_("Ppk"),
        meaning=(
            N_(
                "How far the mean is from the nearer limit, in long-term scatter. It stands with its"
                " 95 % interval, and only after stability."
            )
        ),
        formula=N_("min(upper − mean, mean − lower) ÷ 3 σ total"),
        source=N_("ISO 22514-2."),
    ),
    Entry(
        id="cpk",
        name=N_("Cpk"),
        meaning=N_("The same with short-term scatter."),
        formula=N_("min(upper − mean, mean − lower) ÷ 3 σ within"),
        source=N_("ISO 22514-2."),
    ),
    Entry(
        id="pp-cp",
        name=N_("Pp and Cp"),
        meaning=(
            N_(
                "How wide the limits of the drawing are beside the scatter, wherever the mean lies:"
                " what Ppk and Cpk could be if it lay in the middle. Far above Ppk or Cpk, the mean is"
                " off, not the scatter."
            )
        ),
        formula=N_("Pp = (upper − lower) ÷ 6 σ total; Cp = (upper − lower) ÷ 6 σ within"),
        source=N_("ISO 22514-2. Exists with both limits only."),
    ),
    Entry(
        id="cpm",
        name=N_("Cpm"),
        meaning=(
            N_(
                "As Cp, with the distance of the mean from its target counted as scatter: a part may"
                " lie within its limits and still be worth less for lying far from what was meant."
            )
        ),
        formula=N_("(upper − lower) ÷ 6 √(σ² + (mean − target)²)"),
        source=N_("Chan, Cheng and Spiring 1988 (memory)."),
    ),
    Entry(
        id="percentile-method",
        name=N_("Percentile method"),
        meaning=(
            N_(
                "Where values are not normal, the points that cut off 0.135 % on each side stand in"
                " for mean ± 3 σ."
            )
        ),
        formula=N_("min((U − x50) ÷ (x99.865 − x50), (x50 − L) ÷ (x50 − x0.135))"),
        source=N_("ISO 22514-2."),
    ),
)


def help_groups() -> tuple[tuple[str, tuple[Entry, ...]], ...]:
    """Groups of entries in the order of the page.

    >>> [title for title, _ in help_groups()]
    ['Terms', 'Signals', 'Causes', 'Rules on charts', 'Capability', 'Checks', 'Cautions']
    """
    return (
        (_("Terms"), _OWN_TERMS),
        (_("Signals"), _entries("signals")),
        (_("Causes"), _entries("causes")),
        (_("Rules on charts"), _entries("rules")),
        (_("Capability"), _INDICES),
        (_("Checks"), CHECKS),
        (_("Cautions"), _cautions()),
    )


def _entries(file: str) -> tuple[Entry, ...]:
    return tuple(entry_of(file, code) for code in shared_entries(file))


def _cautions() -> tuple[Entry, ...]:
    return tuple(
        Entry(id=f"caution-{code}", name=str(found["name"]), meaning=str(found["text"]), formula="",
              source=str(found["source"]))
        for code, found in shared_entries("cautions").items()
    )  # fmt: skip
