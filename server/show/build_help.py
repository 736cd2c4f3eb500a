"""The help page: chapters from `web/help`, terms from the words."""

import functools
import re
from typing import Final

from server.language import _, say
from server.settings import outside
from server.show.alarm_proof import proof_chapter
from server.show.more_pages import HelpPage
from server.show.plant_words import Plant
from server.words.help_terms import help_groups

#: A paragraph, point or heading of a chapter, and its text.
_BLOCK: Final = re.compile(r"(<(?:p|li|h2|h3)>)(.+?)(?=</(?:p|li|h2|h3)>)", re.DOTALL)


@functools.cache
def help_chapters() -> tuple[tuple[str, str, str], ...]:
    """(anchor, title, body) of every chapter, in the order of the file names.

    A chapter's first line is its title as `<!-- title: … -->`.
    """
    chapters = []
    for path in sorted((outside("web") / "help").glob("*.html")):
        first, _, body = path.read_text(encoding="utf-8").partition("\n")
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


def build_help(plant: Plant) -> HelpPage:
    return HelpPage(
        frame=plant.frame(_("Help"), active="/help"),
        answer=_("What the words mean, and where the numbers come from."),
        under=_("Ringtell informs. It never controls a press."),
        groups=help_groups(),
        chapters=(*_in_language(help_chapters()), proof_chapter()),
    )
