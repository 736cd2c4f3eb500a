"""Random tokens and passwords: how they are made, hashed and checked."""

import hashlib
import secrets
import unicodedata
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from server.waiting import Turns

#: argon2id with 19 MiB, 2 passes, 1 lane (memory): about 20 ms, so that logins cannot stall ingest.
_hasher: Final = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
#: Passwords hashed at the same time (19 MiB each), and those that may wait for it: a flood of logins must
#: take neither the memory nor the threads that shots need.
HASHED_AT_ONCE: Final = 2
HASHED_WAITING: Final = 16
#: No letter or digit that is read as another.
_LEGIBLE: Final = "abcdefghjkmnpqrstuvwxyz23456789"


def new_token() -> str:
    """A random token of 32 bytes."""
    return secrets.token_urlsafe(32)


def token_hash(token: str) -> bytes:
    """What is kept of a token. It is random itself, so a fast digest is enough."""
    return hashlib.sha256(token.encode()).digest()


def one_time_password() -> str:
    """A password to hand over on paper: four groups of four, 79 bits."""
    return "-".join("".join(secrets.choice(_LEGIBLE) for _ in range(4)) for _ in range(4))


_turns: Final = Turns(
    at_once=HASHED_AT_ONCE,
    waiting=HASHED_WAITING,
    said="too many passwords are being looked at; try again in 1 s",
)


def hash_password(password: str) -> str:
    with _turns.take():
        return _hasher.hash(password)


#: Checked for names that do not exist, so that both take the same time.
_NOBODY: Final = _hasher.hash(secrets.token_hex(16))


def password_fits(password_hash: str | None, password: str) -> bool:
    """Whether the password is right; without a hash, no, after the same time."""
    tried = unicodedata.normalize("NFKC", password)
    with _turns.take():
        try:
            return _hasher.verify(password_hash or _NOBODY, tried) and password_hash is not None
        except (VerificationError, InvalidHashError):
            return False


def is_outdated(password_hash: str) -> bool:
    """Whether a hash was made with other parameters than now: then the next right password renews it."""
    return _hasher.check_needs_rehash(password_hash)
