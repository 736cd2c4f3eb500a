"""A real pgbouncer in transaction mode before a test's PostgreSQL: unix socket only, never as root."""

import os
import shutil
import subprocess
import time
from pathlib import Path

import psycopg

from tests.postgresql import PostgresqlServer

_PLACES = ("/usr/sbin/pgbouncer", "/usr/local/sbin/pgbouncer", "/usr/local/bin/pgbouncer")
_PORT = 6432


class MissingPgbouncerError(Exception):
    """Why no pgbouncer can be started here; tests are skipped with it."""


def program() -> str:
    """Where pgbouncer is; it often lies where only root looks."""
    found = shutil.which("pgbouncer") or next((one for one in _PLACES if Path(one).exists()), None)
    if found is None:
        raise MissingPgbouncerError("no pgbouncer on PATH or in /usr/sbin: apt-get install pgbouncer")
    return found


class Pgbouncer:
    """Hands every transaction to whichever of `pool_size` connections to a database is free."""

    def __init__(self, server: PostgresqlServer, *, pool_size: int) -> None:
        self._server = server
        self._program = program()
        folder = server.folder / "pooler"
        folder.mkdir()
        lines = {
            "listen_addr": "",
            "listen_port": _PORT,
            "unix_socket_dir": server.folder,
            "auth_type": "trust",
            "auth_file": folder / "users",
            "pool_mode": "transaction",
            "default_pool_size": pool_size,
            "max_client_conn": 200,
            # What a client set in a session would reach the next one: that is what is looked for.
            "server_reset_query_always": 0,
            "logfile": folder / "log",
        }
        settings = "\n".join(f"{name} = {value}" for name, value in lines.items())
        (folder / "ini").write_text(f"[databases]\n* = host={server.folder}\n[pgbouncer]\n{settings}\n")
        (folder / "users").write_text('"ringtell" ""\n')
        if server.user:
            for one in (folder, *folder.iterdir()):
                shutil.chown(one, server.user)
        with (folder / "said").open("wb") as said:
            self._process = subprocess.Popen(
                [self._program, str(folder / "ini")],
                user=server.user,
                stdout=said,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                cwd=os.sep,
            )
        self._wait(folder)

    def url(self, database: str) -> str:
        """Nothing is prepared: the next transaction may be another connection's."""
        return f"postgresql://ringtell@/{database}?host={self._server.folder}&port={_PORT}&prepared=off"

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(20)

    def _wait(self, folder: Path) -> None:
        until = time.monotonic() + 20
        while True:
            try:
                psycopg.connect(self.url("postgres").removesuffix("&prepared=off")).close()
                return
            except psycopg.OperationalError:
                if self._process.poll() is not None or time.monotonic() > until:
                    self.stop()
                    raise RuntimeError((folder / "said").read_text(errors="replace")) from None
            time.sleep(0.05)
