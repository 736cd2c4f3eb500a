"""PostgreSQL's own programs, run on a database of ours."""

import os
import shutil
import subprocess
from pathlib import Path

import sqlalchemy as sa

from server.errors import RingtellError
from server.store.engine_pg import address_of

#: Where PostgreSQL's programs lie when they are not on PATH.
_PG_PLACES = "usr/lib/postgresql/*/bin"
#: A dump of a plant's history may take its time; one that takes longer hangs.
_PG_WITHIN_S = 6 * 3600.0


def _program(name: str) -> str:
    found = [*sorted(Path("/").glob(f"{_PG_PLACES}/{name}"), key=lambda path: (len(str(path)), str(path)))]
    path = str(found[-1]) if found else shutil.which(name)
    if path is None:
        raise RingtellError(f"{name} is not installed here; it comes with PostgreSQL's client programs")
    return path


def run_pg(name: str, url: str, *words: str) -> None:
    """Run one of PostgreSQL's programs on a database, or RingtellError with what it said."""
    parsed = address_of(url).url.set(drivername="postgresql")
    # The password through the environment: everybody can read command lines.
    secret = {} if parsed.password is None else {"PGPASSWORD": str(parsed.password)}
    bare = sa.URL.create(
        "postgresql", parsed.username, None, parsed.host, parsed.port, parsed.database, parsed.query
    )
    done = subprocess.run(
        [_program(name), f"--dbname={bare.render_as_string()}", *words],
        env={**os.environ, **secret},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=_PG_WITHIN_S,
        check=False,
    )
    if done.returncode:
        said = " ".join((done.stderr or done.stdout).split())[-400:]
        raise RingtellError(f"{name} failed: {said}")
