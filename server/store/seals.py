"""Seals of the audit trail: HMAC-SHA256 under keys that are never in the database.

The keys stand in `RINGTELL_AUDIT_KEY` (blanks between several, the last one seals), or in a file, a
key a line: `RINGTELL_AUDIT_KEY_FILE`, or beside an SQLite database as `<database>.audit-key`. They
are read here and not with the settings, so that no object holds them that could be printed.
"""

import dataclasses
import functools
import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from server.errors import UsageError

KEY_LENGTH_MIN: Final = 32
#: What the first link of a chain stands on.
START: Final = bytes(32)


@dataclasses.dataclass(frozen=True)
class SealKey:
    """A key, and the short name under which rows remember it."""

    key_id: str
    secret: bytes = dataclasses.field(repr=False)


@dataclasses.dataclass(frozen=True)
class Ring:
    """Every key at hand, the last one in use."""

    keys: tuple[SealKey, ...]

    @property
    def current(self) -> SealKey:
        return self.keys[-1]

    def by_id(self, key_id: str) -> SealKey | None:
        return next((key for key in self.keys if key.key_id == key_id), None)


def ring_from(texts: Sequence[str], *, source: str) -> Ring:
    """A ring of keys as they were written down."""
    if not texts:
        raise UsageError(f"{source} holds no key; put one of {KEY_LENGTH_MIN} characters or more there")
    short = [len(text) for text in texts if len(text) < KEY_LENGTH_MIN]
    if short:
        raise UsageError(f"{source} holds a key of {short[0]} characters; at least {KEY_LENGTH_MIN}")
    return Ring(tuple(SealKey(_name_of(text), text.encode()) for text in texts))


def _name_of(text: str) -> str:
    return hashlib.sha256(b"name of an audit key\0" + text.encode()).hexdigest()[:12]


def key_file_of(url: sa.URL, environment: Mapping[str, str] | None = None) -> Path | None:
    """Where the keys of a database lie; None when nobody said so for a PostgreSQL."""
    source = os.environ if environment is None else environment
    if named := source.get("RINGTELL_AUDIT_KEY_FILE"):
        return Path(named)
    if url.get_backend_name() == "sqlite" and url.database:
        return Path(f"{url.database}.audit-key")
    return None


def ring_of(url: sa.URL, *, make: bool, environment: Mapping[str, str] | None = None) -> Ring | None:
    """The keys of a database. make: write a first key where a file was meant to be and is not."""
    source = os.environ if environment is None else environment
    if given := source.get("RINGTELL_AUDIT_KEY"):
        return ring_from(given.split(), source="RINGTELL_AUDIT_KEY")
    file = key_file_of(url, source)
    if file is None:
        return None
    try:
        changed_ns = file.stat().st_mtime_ns
    except FileNotFoundError:
        if not make:
            return None
        _write_keys(file, [secrets.token_hex(32)], first=True)
        changed_ns = file.stat().st_mtime_ns
    return _read(file, changed_ns)


@functools.lru_cache(maxsize=64)
def _read(file: Path, _changed_ns: int) -> Ring:
    return ring_from(file.read_text(encoding="ascii").split(), source=str(file))


def add_key(file: Path) -> SealKey:
    """Put a new key at the end of the file, readable by its owner alone; it seals from now on."""
    text = secrets.token_hex(32)
    known = file.read_text(encoding="ascii").split() if file.exists() else []
    _write_keys(file, [*known, text], first=not known)
    return SealKey(_name_of(text), text.encode())


def _write_keys(file: Path, texts: Sequence[str], *, first: bool) -> None:
    """first: the keys somebody else has put there in the meantime stay, and these are forgotten."""
    # Written beside and put in place at once: nobody ever reads half of it, and a crash loses no key.
    fresh = file.with_name(f"{file.name}.{secrets.token_hex(4)}")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as stream:
        stream.write("\n".join(texts) + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    if first:
        _put_first(fresh, file)
    else:
        fresh.replace(file)


def _put_first(fresh: Path, file: Path) -> None:
    """Never over a key that another process has just written."""
    try:
        os.link(fresh, file)
    except FileExistsError:
        pass
    finally:
        fresh.unlink()


def seal(key: SealKey, before: bytes, row: Mapping[str, Any]) -> bytes:
    """The seal over a row of the trail and the seal of the row before it."""
    fields = [row[name] for name in _SEALED]
    text = json.dumps([*fields, key.key_id], ensure_ascii=True, separators=(",", ":"))
    return hmac.new(key.secret, before + text.encode(), hashlib.sha256).digest()


_SEALED: Final = ("press_id", "seq", "audit_no", "at_ms", "who", "action", "subject", "before", "after")


def mark(key: SealKey, text: str) -> str:
    """A seal over a document that leaves the server."""
    return hmac.new(key.secret, b"anchors\0" + text.encode(), hashlib.sha256).hexdigest()
