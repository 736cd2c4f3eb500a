"""A real PostgreSQL started for the tests: own folder, unix socket only, never as root."""

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path

import sqlalchemy as sa

_PLACES = (
    "/usr/lib/postgresql/*/bin",
    "/usr/pgsql-*/bin",
    "/usr/local/pgsql/bin",
    "/opt/homebrew/opt/postgresql*/bin",
)


class MissingPostgresqlError(Exception):
    """Why no PostgreSQL can be started here; tests are skipped with it."""


def binaries() -> Path:
    """The folder of the newest initdb and postgres."""
    on_path = shutil.which("initdb")
    found = [Path(on_path).resolve().parent] if on_path else []
    for place in _PLACES:
        found += [folder for folder in Path("/").glob(place.lstrip("/")) if (folder / "initdb").exists()]
    if not found:
        raise MissingPostgresqlError(
            "no initdb in /usr/lib/postgresql/*/bin or on PATH: apt-get install postgresql"
        )
    return max(found, key=_version)


def _version(folder: Path) -> tuple[float, str]:
    digits = "".join(c for c in folder.parent.name if c.isdigit() or c == ".").strip(".")
    return (float(digits) if digits else 0.0, str(folder))


def _unprivileged() -> str | None:
    """Whom to run it as: None is ourselves; PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            pwd.getpwnam(name)
        except KeyError:
            continue
        return name
    raise MissingPostgresqlError("running as root, and neither `postgres` nor `nobody` exists to start it as")


class PostgresqlServer:
    """A cluster in a folder of its own; `new_database` hands out empty databases or copies."""

    def __init__(self, *, durable: bool = False) -> None:
        # Tests do not wait for the disk; figures do.
        self._fsync = "on" if durable else "off"
        self._bin = binaries()
        self.user = _unprivileged()
        # Not below pytest's folder: that one is closed to other users, and its path too long for a socket.
        self.folder = Path(tempfile.mkdtemp(prefix="rtpg-"))
        self._made = 0
        if self.user:
            shutil.chown(self.folder, self.user)
        try:
            self._run(
                "initdb",
                "-D",
                "data",
                "-U",
                "ringtell",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C",
                "--no-sync",
            )
            self.resume()
        except BaseException:
            shutil.rmtree(self.folder, ignore_errors=True)
            raise

    def url(self, database: str) -> str:
        return f"postgresql://ringtell@/{database}?host={self.folder}"

    def new_database(self, *, copy_of: str = "template1") -> str:
        """The name of a fresh database."""
        self._made += 1
        name = f"plant_{self._made}"
        self._administer(f'CREATE DATABASE {name} TEMPLATE "{copy_of}"')
        return name

    def drop_database(self, name: str) -> None:
        self._administer(f"DROP DATABASE {name} WITH (FORCE)")

    def resume(self) -> None:
        """Start it, for the first time or after `halt`."""
        options = f"-k {self.folder} -c listen_addresses='' -c fsync={self._fsync} -c shared_buffers=64MB"
        self._run("pg_ctl", "-D", "data", "-l", "log", "-w", "-t", "60", "-o", options, "start")

    def halt(self) -> None:
        """Stop it as an administrator does: connections are ended, the data stays."""
        self._run("pg_ctl", "-D", "data", "-m", "fast", "-w", "stop")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", "data", "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    def _administer(self, statement: str) -> None:
        engine = sa.create_engine(
            sa.make_url(self.url("postgres")).set(drivername="postgresql+psycopg"),
            isolation_level="AUTOCOMMIT",
            poolclass=sa.NullPool,
        )
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)
        engine.dispose()

    def _run(self, program: str, *arguments: str) -> None:
        # The running server would keep pipes open, so what is said goes to a file.
        with (self.folder / "said").open("ab") as said:
            done = subprocess.run(
                [str(self._bin / program), *arguments],
                cwd=self.folder,
                user=self.user,
                stdout=said,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                check=False,
            )
        if done.returncode:
            text = (self.folder / "said").read_text(errors="replace")
            raise RuntimeError(f"{program} failed with {done.returncode}:\n{text}")
