"""A second language, as a plant would add it: one file with some texts."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

from server import languages
from server.language import Language

DEUTSCH: Final = """
msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"

msgid "{press} is silent."
msgstr "{press} schweigt."

msgid "This is a test"
msgstr "Dies ist eine Probe"

msgid "Ringtell test message"
msgstr "Probe von Ringtell"

msgid "A value cannot be taken"
msgstr "Ein Wert geht nicht"

msgid "the body has to be an object with units, language or both"
msgstr "es braucht ein Objekt mit units, language oder beidem"

msgid "Sign out"
msgstr "Abmelden"

msgid "Ring travel {mm}"
msgstr "Ringweg {inch}"

msgid "leak"
msgstr "Leck"

msgid "shot"
msgid_plural "shots"
msgstr[0] "Schuss"
msgstr[1] "Schüsse"
"""


@contextlib.contextmanager
def a_second_language(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Language]:
    """German, for as long as the block lasts."""
    (folder / "de.po").write_text(DEUTSCH, encoding="utf-8")
    monkeypatch.setattr(languages, "_folder", lambda: folder)
    languages.forget()
    found = languages.language("de")
    assert found is not None
    try:
        yield found
    finally:
        languages.forget()
