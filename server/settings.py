"""Settings from the environment, read once at the start."""

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Self

from server.errors import UsageError

#: How a connection to the mail server is kept from being read.
SMTP_SECURITY = ("starttls", "tls", "none")


@dataclasses.dataclass(frozen=True)
class Settings:
    """What the server is told from outside. Every field has its `RINGTELL_…` variable."""

    database_url: str = "sqlite:///ringtell.db"
    #: Where PostgreSQL itself listens, when the address above is that of a pooler: for LISTEN and migrations.
    database_direct_url: str = ""
    host: str = "127.0.0.1"
    port: int = 8000
    #: Keys and login ignored; loopback only.
    no_login: bool = False
    #: Unknown presses are taken into the plant at their first shot.
    accept_unknown: bool = False
    #: PEM files, to serve TLS itself.
    tls_cert: str = ""
    tls_key: str = ""
    #: Addresses or networks of proxies that are believed about client and scheme, with blanks between.
    trusted_proxies: str = ""
    max_body_bytes: int = 16 * 1024 * 1024
    max_expanded_bytes: int = 64 * 1024 * 1024
    max_rows: int = 50_000
    #: Largest file taken by the import page.
    max_import_bytes: int = 2 * 1024 * 1024 * 1024
    #: Where files wait to be imported; without one beside an embedded database, else in a temporary folder.
    import_folder: str = ""
    session_hours: float = 12.0
    #: Minutes without a tap after which a session that may change something ends; 0: only with its time.
    session_idle_min: float = 120.0
    #: How the log is written: `text` or `json`, one line each; from which level on.
    log_format: str = "text"
    log_level: str = "warning"
    #: Compute evaluations in a child process (off: in this one, for tests and one-core machines).
    child_process: bool = True
    #: What a collector sends its shots with, and what it is let in with at a press or broker.
    collect_key: str = dataclasses.field(default="", repr=False)
    collect_password: str = dataclasses.field(default="", repr=False)
    #: Where pages are reached from outside, for the link in a message.
    public_address: str = ""
    #: The language of pages and messages for whoever has chosen none (`web/locale/<code>.po`); '': as the
    #: browser asks, and messages in English.
    language: str = ""
    #: Mail: the server, `starttls`, `tls` or `none`, and who sends. Without a host no mail leaves.
    smtp_host: str = ""
    smtp_port: int = 587
    smtp_security: str = "starttls"
    smtp_user: str = ""
    smtp_password: str = dataclasses.field(default="", repr=False)
    smtp_sender: str = "ringtell@plant.example"
    #: A file of certificates to believe instead of the system's, for a mail server inside the plant.
    smtp_authorities: str = ""
    #: Hosts webhooks may go to, and addresses or networks inside the plant, with blanks between.
    webhook_hosts: str = ""
    #: What webhooks are signed with. Without hosts and secret none leaves.
    webhook_secret: str = dataclasses.field(default="", repr=False)

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Self:
        """Settings from `RINGTELL_DATABASE_URL` and its like; the rest are defaults."""
        source = os.environ if environment is None else environment
        given: dict[str, object] = {}
        for field in dataclasses.fields(cls):
            variable = "RINGTELL_" + field.name.upper()
            if variable in source:
                given[field.name] = _read(variable, source[variable], field.default)
        security = given.get("smtp_security", "starttls")
        if security not in SMTP_SECURITY:
            raise UsageError(f"RINGTELL_SMTP_SECURITY={security!r}: one of {', '.join(SMTP_SECURITY)}")
        return cls(**given)  # type: ignore[arg-type]  # checked by _read against each default's type

    @property
    def direct_url(self) -> str:
        """The database without a pooler in between."""
        return self.database_direct_url or self.database_url

    def with_changes(self, **changes: object) -> Self:
        return dataclasses.replace(self, **changes)  # type: ignore[arg-type]  # same


_CLAIMS = {"1": True, "true": True, "yes": True, "0": False, "false": False, "no": False}


def _read(variable: str, text: str, default: object) -> object:
    try:
        if isinstance(default, bool):
            return _CLAIMS[text.lower()]
        if isinstance(default, int):
            return int(text)
        if isinstance(default, float):
            return float(text)
    except (KeyError, ValueError):
        kind = type(default).__name__
        raise UsageError(f"{variable}={text!r} is not a {kind}; unset it for {default!r}") from None
    return text


def outside(folder: str) -> Path:
    """Where `web`, `shared`, `migrations` or `demo_data` lies: in the wheel or in the checkout."""
    here = Path(__file__).resolve().parent
    carried = here / "_outside" / folder
    return carried if carried.is_dir() else here.parent / folder
