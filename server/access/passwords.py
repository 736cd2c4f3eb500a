"""What a password or a short number must be; after NIST SP 800-63B revision 4 (memory).

Length alone is asked for, 15 characters where the password is the only factor, no mixture of kinds of
characters, no change by date. Refused is what is guessed first: words that are tried everywhere,
keyboard runs, repetitions, and the words of this place. The list is ours, short because the length
already rules out what longer lists hold.
"""

import itertools
import re
import unicodedata
from collections.abc import Iterable
from typing import Final

from server.access.tokens import hash_password
from server.errors import InvalidError
from server.language import N_

LENGTH_MIN: Final = 15
LENGTH_MAX: Final = 200
PIN_LENGTH_MIN: Final = 6
PIN_LENGTH_MAX: Final = 12
#: What is left after the guessable parts are taken out has to be at least so long.
_REST_MIN: Final = 6

_GUESSED: Final = (
    "password", "passwort", "passwd", "passphrase", "kennwort", "losenord", "contrasena", "motdepasse",
    "secret", "geheim", "letmein", "welcome", "willkommen", "changeme", "default", "trustno", "iloveyou",
    "administrator", "admin", "superuser", "root", "user", "guest", "login", "master", "system", "operator",
    "service", "test", "demo", "example", "sample", "temp", "hello", "hallo", "dragon", "monkey", "sunshine",
    "princess", "football", "baseball", "superman", "batman", "shadow", "michael", "charlie", "internet",
    "computer", "server", "office", "company", "firma", "factory", "plant", "production", "produktion",
    "spring", "summer", "autumn", "winter", "sommer", "herbst", "january", "february", "march", "april",
    "june", "july", "august", "september", "october", "november", "december", "monday", "tuesday",
    "wednesday", "thursday", "friday", "saturday", "sunday",
)  # fmt: skip
#: Words of this trade and this program.
_CONTEXT: Final = (
    "ringtell", "injection", "moulding", "molding", "press", "mold", "mould", "valve", "checkring", "screw",
    "cushion", "tablet", "line", "lead", "quality", "engineer", "viewer", "shift",
)  # fmt: skip
_RUNS: Final = (
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890123456789",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
    "azertyuiopqsdfghjklmwxcvbn",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
)
_LOOKALIKE: Final = str.maketrans("0134578@$!|", "oleastbasil")


def normalised(password: str) -> str:
    """One form for what looks the same, however the keyboard composed it."""
    return unicodedata.normalize("NFKC", password)


def hash_new_password(name: str, *, old: str, new: str, context: Iterable[str] = ()) -> str:
    """The hash of a new password, or InvalidError saying what is wrong with it."""
    new = normalised(new)
    if not LENGTH_MIN <= len(new) <= LENGTH_MAX:
        raise _refused(
            N_(
                "the new password has {new} characters; {length_min} to {length_max}, a short"
                " sentence for example",
                new=len(new),
                length_min=LENGTH_MIN,
                length_max=LENGTH_MAX,
            )
        )
    if new == normalised(old):
        raise _refused(N_("the new password is the old one"))
    if name.casefold() in new.casefold():
        raise _refused(N_("the new password holds the name"))
    if guessable(new, context=(name, *context)):
        raise _refused(N_("the new password is made of what is guessed first; take words of your own"))
    return hash_password(new)


def _refused(message: str) -> InvalidError:
    return InvalidError(message, field="new_password")


def guessable(password: str, *, context: Iterable[str] = ()) -> bool:
    """Whether too little is left once common words, runs and repetitions are taken out.

    >>> tried = ("Password12345678", "qwertyuiopasdfgh", "aaaaaaaaaaaaaaaa", "ringtellringtell")
    >>> [guessable(p) for p in tried]
    [True, True, True, True]
    >>> [guessable(p) for p in ("correct horse 12", "the blue kettle sings", "xk4-9qz-pt7-mm2")]
    [False, False, False]
    """
    folded = _folded(password)
    plain, undone = _letters(folded), _letters(folded.translate(_LOOKALIKE))
    own = [_letters(part) for text in context for part in re.split(r"\W+", text)]
    words = sorted({word for word in (*_GUESSED, *_CONTEXT, *own) if len(word) >= 4}, key=len, reverse=True)
    return min(_left(plain, words), _left(undone, words)) < _REST_MIN


def _left(text: str, words: list[str]) -> int:
    for word in words:
        text = text.replace(word, " ")
    # A piece said again says nothing new: aaaa, abcabc.
    text = re.sub(r"([^ ]{1,8}?)\1+", r"\1", text)
    for run in _RUNS:
        for piece in _stretches(text, run):
            text = text.replace(piece, piece[0])
    digits = sum(sign.isdigit() for sign in text)
    letters = len({sign for sign in text if sign.isalpha()})
    # Digits at the end of a word are the usual decoration: together they count as one.
    return letters + (min(digits, 1) if letters < _REST_MIN else digits)


def _stretches(text: str, run: str) -> list[str]:
    """Parts of a text, four signs or longer, that go along a run in either direction."""
    found = []
    for line in (run, run[::-1]):
        start = 0
        while start < len(text):
            end = start + 1
            while end < len(text) and text[start : end + 1] in line:
                end += 1
            if end - start >= 4:
                found.append(text[start:end])
            start = end
    return found


def _folded(text: str) -> str:
    bare = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in bare if not unicodedata.combining(sign))


def _letters(text: str) -> str:
    return "".join(sign for sign in _folded(text) if sign.isalnum())


def hash_new_pin(pin: str) -> str:
    """The hash of a short number, or InvalidError saying what is wrong with it."""
    if not (pin.isascii() and pin.isdigit() and PIN_LENGTH_MIN <= len(pin) <= PIN_LENGTH_MAX):
        raise InvalidError(
            N_(
                "pin: {pin_length_min} to {pin_length_max} digits",
                pin_length_min=PIN_LENGTH_MIN,
                pin_length_max=PIN_LENGTH_MAX,
            ),
            field="pin",
        )
    steps = {(int(b) - int(a)) % 10 for a, b in itertools.pairwise(pin)}
    half = pin[: len(pin) // 2]
    if len(set(pin)) < 3 or len(steps) == 1 or half + half == pin:
        raise InvalidError(N_("pin: this one is tried first; not a run, not a repetition"), field="pin")
    return hash_password(pin)
