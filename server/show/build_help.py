"""The help page: chapters from `web/help`, terms from the words."""

import functools

from server.language import _
from server.settings import outside
from server.show.alarm_proof import proof_chapter
from server.show.more_pages import HelpPage
from server.show.plant_words import Plant
from server.words.help_terms import help_groups


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


def build_help(plant: Plant) -> HelpPage:
    return HelpPage(
        frame=plant.frame(_("Help"), active="/help"),
        answer=_("What the words mean, and where the numbers come from."),
        under=_("Ringtell informs. It never controls a press."),
        groups=help_groups(),
        chapters=(*help_chapters(), proof_chapter()),
    )
