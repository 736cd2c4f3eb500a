"""The page that finds things: what was asked for, exactly so first, then by kind, then pages and help."""

import itertools
from typing import Final

import sqlalchemy as sa

from server.language import N_, _, plural
from server.show.find_page import FindPage, Found, FoundGroup
from server.show.find_rows import LOOKS, Look
from server.show.frame import MORE, NAVIGATION
from server.show.plant_words import Plant
from server.store.find_words import Asked, read_words
from server.words.help_terms import help_groups
from server.words.numbers import count_word

#: Longer questions are cut; what people write stands in fewer signs.
ASKED_MAX: Final = 80
#: Rows of one kind on the page.
PER_KIND: Final = 8
#: Pages that stand in no navigation line.
_OTHER_PAGES: Final = (
    ("/trials", N_("Setting trials")),
    ("/score", N_("How good is the score?")),
    ("/alarm-budget", N_("Alarm budget")),
    ("/alarms/performance", N_("How the alarms do")),
    ("/settings/messages", N_("Who is told about alarms")),
    ("/docs", "API"),
)
CAN: Final = (
    N_("presses by code, name, area, and the mold, material, lot or box they run"),
    N_("molds by code or part, materials and set-ups by name"),
    N_("alarms by number, such as P07-3, and open ones by what they are"),
    N_("cases by press, number, text or owner"),
    N_("valves by part number or press"),
    N_("studies, sheets, startup records, setting trials, held parts and reports by press or number"),
    N_("what a word means: rules, signals, causes, indices"),
)


def read_asked(text: str) -> str:
    """What was typed, without signs nobody sees, on one line and bounded.

    >>> read_asked("  P07\\x00  leak ")
    'P07 leak'
    """
    seen = "".join(one if one.isprintable() else " " for one in text)
    return " ".join(seen.split())[:ASKED_MAX].strip()


def find_groups(
    connection: sa.Connection, plant: Plant, text: str, *, per_kind: int = PER_KIND
) -> tuple[FoundGroup, ...]:
    """Groups in the order of the page; what is called exactly so goes before all others."""
    asked = read_words(read_asked(text))
    if not asked.words:
        return ()
    groups = [_looked(connection, plant, asked, look, per_kind) for look in LOOKS]
    groups += [_pages(asked, per_kind), _help(asked, per_kind)]
    exact = tuple(row for group in groups for row in group.rows if row.exact)
    others = (
        FoundGroup(group.kind, group.title, tuple(row for row in group.rows if not row.exact), group.more)
        for group in groups
    )
    first = (FoundGroup("exact", _("By that name"), exact),) if exact else ()
    return (*first, *(group for group in others if group.rows))


def _looked(connection: sa.Connection, plant: Plant, asked: Asked, look: Look, limit: int) -> FoundGroup:
    rows = look.rows(connection, asked.without(look.names), plant, limit + 1)
    return FoundGroup(look.kind, look.title, tuple(rows[:limit]), len(rows) > limit)


def _pages(asked: Asked, limit: int) -> FoundGroup:
    rows = [
        Found("page", word, _("Page"), href, exact=asked.text == word.lower())
        for href, word in (*NAVIGATION, *MORE, *_OTHER_PAGES)
        if all(one.text in word.lower() for one in asked.words)
    ]
    return FoundGroup("page", _("Pages"), tuple(rows[:limit]), len(rows) > limit)


def _help(asked: Asked, limit: int) -> FoundGroup:
    """Entries whose name holds every word before those that only speak of it."""
    found = [
        (not all(one.text in entry.name.lower() for one in asked.words), entry)
        for entry in itertools.chain.from_iterable(entries for _, entries in help_groups())
        if all(one.text in f"{entry.name} {entry.meaning}".lower() for one in asked.words)
    ]
    rows = [
        Found("help", entry.name, entry.meaning, f"/help#{entry.id}", exact=asked.text == entry.name.lower())
        for _, entry in sorted(found, key=lambda pair: pair[0])
    ]
    return FoundGroup("help", _("Help"), tuple(rows[:limit]), len(rows) > limit)


def build_find(connection: sa.Connection, plant: Plant, *, text: str) -> FindPage:
    asked = read_asked(text)
    groups = find_groups(connection, plant, asked)
    count = sum(len(group.rows) for group in groups)
    more = any(group.more for group in groups)
    answer = _("What are you looking for?")
    if asked:
        answer = _("Nothing is called “{asked}”, and nothing speaks of it.", asked=asked)
    if count:
        number = _("More than ") + count_word(count) if more else count_word(count, capital=True)
        answer = f"{number} {plural(count, 'thing fits', 'things fit')} “{asked}”."
    return FindPage(
        frame=plant.frame(_("Find"), active="/find"),
        answer=answer,
        under=_("Every word has to be met; more words find less.") if groups else "",
        asked=asked,
        groups=groups,
        can=() if groups else CAN,
    )
