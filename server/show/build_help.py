"""The help page: chapters from `web/help`, terms from the words."""

import functools
import html
import re
from collections.abc import Sequence
from typing import Final

from server.language import _, say
from server.settings import outside
from server.show.alarm_proof import proof_chapter
from server.show.more_pages import HelpChapter, HelpEntry, HelpGroup, HelpPage
from server.show.plant_words import Plant
from server.words.help_terms import help_groups, speaks_of

_TAG: Final = re.compile(r"<[^>]+>")
#: More words than these find nothing more.
_WORDS_MAX: Final = 12

#: A paragraph, point or heading of a chapter, and its text.
_BLOCK: Final = re.compile(r"(<(?:p|li|h2|h3)>)(.+?)(?=</(?:p|li|h2|h3)>)", re.DOTALL)


@functools.cache
def help_chapters() -> tuple[tuple[str, str, str], ...]:
    """(anchor, title, body) of every chapter, in the order of the file names.

    A chapter's first line is its title as `<!-- title: … -->`.
    """
    chapters = []
    for path in sorted((outside("web") / "help").glob("*.html")):
        first, _line, body = path.read_text(encoding="utf-8").partition("\n")
        title = first.removeprefix("<!-- title:").removesuffix("-->").strip()
        chapters.append((path.stem.partition("-")[2] or path.stem, title, body))
    return tuple(chapters)


def chapter_texts(body: str) -> list[str]:
    """The texts of a chapter, one a paragraph or point, as a catalogue holds them.

    >>> chapter_texts("<ol><li>First.</li><li>Then.</li></ol>")
    ['First.', 'Then.']
    """
    return [text for _start, text in _BLOCK.findall(body)]


def _in_language(chapters: tuple[tuple[str, str, str], ...]) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (anchor, say(title), _BLOCK.sub(lambda found: found[1] + say(found[2]), body))
        for anchor, title, body in chapters
    )


def build_help(plant: Plant, *, asked: str = "") -> HelpPage:
    """asked: words every one of which an entry or chapter has to hold; what does not is there, but hidden."""
    words = asked.casefold().split()[:_WORDS_MAX]
    groups = tuple(
        HelpGroup(
            id=f"g{place}",
            title=title,
            entries=tuple(HelpEntry(entry, shown=speaks_of(entry, words)) for entry in entries),
        )
        for place, (title, entries) in enumerate(help_groups(), start=1)
    )
    chapters = tuple(
        HelpChapter(anchor, title, body, shown=_holds(f"{title} {body}", words))
        for anchor, title, body in (*_in_language(help_chapters()), proof_chapter())
    )
    every = [*(entry.shown for group in groups for entry in group.entries), *(one.shown for one in chapters)]
    return HelpPage(
        frame=plant.frame(_("Help"), active="/help"),
        answer=_("What the words mean, and where the numbers come from."),
        under=_("Ringtell informs. It never controls a press."),
        groups=groups,
        chapters=chapters,
        asked=asked,
        found_text=found_text(sum(every), len(every)) if words else "",
    )


def found_text(count: int, every: int) -> str:
    """
    >>> found_text(0, 90), found_text(1, 90), found_text(12, 90)
    ('Nothing here speaks of that.', '1 of 90 entries.', '12 of 90 entries.')
    """
    if not count:
        return _("Nothing here speaks of that.")
    return _("{count} of {every} entries.", count=count, every=every)


def _holds(markup: str, words: Sequence[str]) -> bool:
    text = html.unescape(_TAG.sub(" ", markup)).casefold()
    return all(word in text for word in words)
