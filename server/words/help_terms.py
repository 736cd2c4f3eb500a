"""What each term and rule means, its formula and its source, as the help page and its links show them."""

import dataclasses
from collections.abc import Sequence
from typing import Final

from server.language import N_, _, say
from server.words.catalogue import Entry, entry_of, shared_entries
from server.words.guidance import at_the_press
from server.words.help_acts import ACTS
from server.words.help_alarms import ALARMS
from server.words.help_checks import CHECKS
from server.words.help_estimates import ESTIMATES, SHOWN
from server.words.help_evidence import EVIDENCE
from server.words.help_indices import INDICES, PROOF_TERMS, RECORD_TERMS
from server.words.help_press_checks import PRESS_CHECK_ENTRIES

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
        act=N_("Read the lines under Why first. Then follow the steps of the leading cause, in order."),
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
        act=N_("Capture one from 200 shots of a settled press with good parts, and approve it."),
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
        formula=N_("drift check holds and short shots repeat, same valve, at most 30 days apart"),
        source=N_("Common practice, no source."),
        act=N_("Make both checks on the valve that is in, within 30 days of the record."),
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
        act=N_("Below 0.2 a change is hardly worth a walk, however sure it is (common practice)."),
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
        source=N_("A word of this plant's own records."),
        act=N_("Name set-ups that run differently on purpose, and capture a record for each."),
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
        source=N_("A picture of our own."),
        act=N_("Look at the left end: solid left of dashed is a cushion that thins."),
    ),
)


def help_groups() -> tuple[tuple[str, tuple[Entry, ...]], ...]:
    """Groups of entries in the order of the page.

    >>> [title for title, _ in help_groups()][:4]
    ['Terms', 'Evidence behind the likelihood', 'Estimates', 'Alarms']
    """
    return (
        (_("Terms"), _OWN_TERMS),
        (_("Evidence behind the likelihood"), EVIDENCE),
        (_("Estimates"), ESTIMATES),
        (_("Alarms"), tuple(ALARMS.values())),
        (_("Causes"), _entries("causes")),
        (_("Signals"), _entries("signals")),
        (_("Rules on charts"), _entries("rules")),
        (_("Capability"), INDICES),
        (_("The report of a startup record"), RECORD_TERMS),
        (_("Checks"), CHECKS),
        (_("Checks of the press itself"), PRESS_CHECK_ENTRIES),
        (_("How good the score is"), PROOF_TERMS),
        (_("Units and time"), SHOWN),
        (_("Cautions"), _cautions()),
    )


def entry_called(anchor: str) -> Entry | None:
    """The entry of an anchor, None where there is none.

    >>> entry_called("cpk").name, entry_called("moon")
    ('Cpk', None)
    """
    return next((one for _title, entries in help_groups() for one in entries if one.id == anchor), None)


def speaks_of(entry: Entry, words: Sequence[str]) -> bool:
    """Whether an entry holds every one of some words, in small letters, as the reader sees it.

    >>> speaks_of(entry_called("cpk"), ["short-term", "iso"]), speaks_of(entry_called("cpk"), ["hopper"])
    (True, False)
    """
    parts = (entry.name, entry.meaning, entry.formula, entry.source, entry.act)
    text = " ".join(say(part) for part in parts if part).casefold()
    return all(word in text for word in words)


def _entries(file: str) -> tuple[Entry, ...]:
    return tuple(
        dataclasses.replace(
            entry_of(file, code), act=at_the_press(code) if file == "causes" else ACTS.get(code, "")
        )
        for code in shared_entries(file)
    )


def _cautions() -> tuple[Entry, ...]:
    return tuple(
        Entry(
            id=f"caution-{code}",
            name=N_(str(found["name"])),
            meaning=N_(str(found["meaning"])),
            formula="",
            source=N_(str(found["source"])),
            act=N_(str(found["text"])),
        )
        for code, found in shared_entries("cautions").items()
    )
