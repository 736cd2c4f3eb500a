"""What a few letters may mean: presses, molds, materials, valves, cases, studies, words."""

import dataclasses
from collections.abc import Iterator
from typing import Final
from urllib.parse import quote

import sqlalchemy as sa

from server.show.frame import Frame
from server.show.plant_words import Plant, case_href, mold_href, press_href
from server.store import finding
from server.words.catalogue import STUDY, worded
from server.words.help_terms import help_groups
from server.words.numbers import count_word, plural

#: Shown of each kind; letters taken.
SHOWN: Final = 12
LONGEST: Final = 60


@dataclasses.dataclass(frozen=True)
class Found:
    """One thing that may be meant: its name, one line of what it is, its page."""

    href: str
    name: str
    text: str


@dataclasses.dataclass(frozen=True)
class FindPage:
    """`groups`: what each kind of thing is called, and those found."""

    frame: Frame
    answer: str
    under: str
    asked: str
    groups: tuple[tuple[str, tuple[Found, ...]], ...]


def build_find(connection: sa.Connection, plant: Plant, *, asked: str) -> FindPage:
    text = " ".join(asked.split())[:LONGEST]
    groups = find_groups(connection, plant, text) if text else ()
    return FindPage(
        frame=plant.frame("Find", active="/find"),
        answer=_answer(text, sum(len(found) for _, found in groups)),
        under="By code, name, area, part, material, part number, a case's words, or a word of the trade",
        asked=text,
        groups=groups,
    )


def find_groups(
    connection: sa.Connection, plant: Plant, text: str
) -> tuple[tuple[str, tuple[Found, ...]], ...]:
    """What holds the text, by kind; kinds without any are left out."""
    kinds = (
        ("Presses", _presses(connection, text)),
        ("Molds", _molds(connection, text)),
        ("Materials", _materials(connection, text)),
        ("Valves", _valves(connection, plant, text)),
        ("Cases", _cases(connection, plant, text)),
        ("Studies", _studies(connection, plant, text)),
        ("Words", _words(text)),
    )
    made = ((title, tuple(found)) for title, found in kinds)
    return tuple((title, found) for title, found in made if found)


def _answer(text: str, count: int) -> str:
    if not text:
        return "What are you looking for?"
    if not count:
        return f"Nothing here is called “{text}”."
    noun = plural(count, "thing", "things")
    return f"{count_word(count, capital=True)} {noun} may be meant by “{text}”."


def _line(*parts: str | None) -> str:
    return " · ".join(part for part in parts if part)


def _presses(connection: sa.Connection, text: str) -> Iterator[Found]:
    for row in finding.presses_with(connection, text, limit=SHOWN):
        runs = f"runs {row['mold']}" if row["mold"] else "no mold yet"
        yield Found(
            press_href(row["press"]), f"{row['press']} {row['name']}".strip(), _line(row["area"], runs)
        )


def _molds(connection: sa.Connection, text: str) -> Iterator[Found]:
    for row in finding.molds_with(connection, text, limit=SHOWN):
        yield Found(mold_href(row["mold"]), row["mold"], row["part"])


def _materials(connection: sa.Connection, text: str) -> Iterator[Found]:
    for row in finding.materials_with(connection, text, limit=SHOWN):
        if row["mold"]:
            more = f" and {row['molds'] - 1} more" if row["molds"] > 1 else ""
            yield Found(mold_href(row["mold"]), row["material"], f"ran in {row['mold']}{more}")


def _valves(connection: sa.Connection, plant: Plant, text: str) -> Iterator[Found]:
    for row in finding.valves_with(connection, text, limit=SHOWN):
        href = f"/valves/{quote(row['press'], safe='')}/{row['valve_no']}"
        name = f"{row['part_number'] or 'Valve'} on {row['press']}"
        end = f"taken out {plant.day(row['removed_ms'])}" if row["removed_ms"] else "still in"
        yield Found(href, name, _line(f"fitted {plant.day(row['fitted_ms'])}", end))


def _cases(connection: sa.Connection, plant: Plant, text: str) -> Iterator[Found]:
    for row in finding.cases_with(connection, text, limit=SHOWN):
        name = f"Case {row['case_no']} of {row['press']}"
        since = f"opened {plant.day(row['opened_ms'])}"
        yield Found(case_href(row["press"], row["case_no"]), name, _line(row["about"], row["owner"], since))


def _studies(connection: sa.Connection, plant: Plant, text: str) -> Iterator[Found]:
    for row in finding.studies_with(connection, text, limit=SHOWN):
        href = f"{press_href(row['press'])}/studies/{row['study_no']}"
        name = f"{worded(STUDY, row['kind'])} on {row['press']}"
        yield Found(
            href, name[:1].upper() + name[1:], _line(row["mold"], plant.day(row["at_ms"]), row["author"])
        )


def _words(text: str) -> Iterator[Found]:
    wanted = text.casefold()
    entries = [entry for _, group in help_groups() for entry in group]
    # A word called so goes before one that speaks of it.
    named = [entry for entry in entries if wanted in entry.name.casefold()]
    told = [entry for entry in entries if entry not in named and wanted in entry.meaning.casefold()]
    for entry in (*named, *(told if len(wanted) > 2 else ()))[:SHOWN]:
        yield Found(f"/help#{entry.id}", entry.name, entry.meaning)
