"""What `ringtell key …` and `ringtell db anchors`, `db new-audit-key` do."""

import argparse
import json
from contextlib import AbstractContextManager
from pathlib import Path

import sqlalchemy as sa

from server.access.keys import create_key, revoke_key, rotate_key
from server.care import open_store
from server.clock import as_text, now_ms
from server.errors import UsageError
from server.say import say
from server.settings import Settings
from server.store.audit import seal_earlier
from server.store.database import Store
from server.store.device_keys import all_keys
from server.store.seals import add_key, key_file_of
from server.store.trail import make_anchors

_BY = "command line"


def _opened() -> AbstractContextManager[Store]:
    return open_store(Settings.from_environment().database_url, upgraded=True)


def key_create(given: argparse.Namespace) -> None:
    with _opened() as store:
        made = store.write(
            lambda c: create_key(
                c,
                press=given.press,
                scopes=given.scope or ["ingest"],
                name=given.name,
                by=_BY,
                now_ms=now_ms(),
            )
        )
    say(made.token)


def key_list(_given: argparse.Namespace) -> None:
    """Every key that holds, or did; never the key itself."""
    with _opened() as store, store.read() as connection:
        found = all_keys(connection)
    for key in found:
        if key.revoked_ms is not None:
            state = f"revoked {as_text(key.revoked_ms)}"
        elif key.ends_ms is not None:
            state = f"ends {as_text(key.ends_ms)}"
        else:
            state = "holds"
        used = "never used" if key.last_used_ms is None else f"used {as_text(key.last_used_ms)}"
        say(f"{key.key_id}  {key.name}  {key.press or 'every press'}  {key.scopes}  {state}  {used}")


def key_rotate(given: argparse.Namespace) -> None:
    """The successor on standard output; the old key goes on beside it."""
    with _opened() as store:
        made = store.write(
            lambda c: rotate_key(c, given.key, overlap_hours=given.overlap_hours, by=_BY, now_ms=now_ms())
        )
    say(made.token)


def key_revoke(given: argparse.Namespace) -> None:
    with _opened() as store:
        store.write(lambda c: revoke_key(c, given.key, by=_BY, now_ms=now_ms()))
    say(f"key {given.key} opens nothing any more")


def db_anchors(given: argparse.Namespace) -> None:
    """Where every chain of the audit trail stands, to a file that is kept away from this server."""
    target = Path(given.file)
    if target.exists():
        raise UsageError(f"{target} exists; name a new file, nothing is overwritten")
    with _opened() as store:
        store.write(seal_earlier)
        with store.read() as connection:
            document = make_anchors(connection, now_ms=now_ms())
    target.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    say(f"{len(document['chains'])} chains anchored in {target}; keep it where this server cannot write")


def db_new_audit_key(_given: argparse.Namespace) -> None:
    """Another key seals from the next row on; the ones before stay, for what they have sealed."""
    url = Settings.from_environment().database_url
    file = key_file_of(sa.make_url(url))
    if file is None:
        raise UsageError("name the file of the keys in RINGTELL_AUDIT_KEY_FILE; it is made or added to")
    say(f"key {add_key(file).key_id} is in {file} and seals from the next row on; keep a copy elsewhere")
