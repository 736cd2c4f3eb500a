"""Outlets: how a message leaves. The log is always there; mail and webhooks when the server is told how."""

import dataclasses
import logging
import smtplib
import ssl
from collections.abc import Mapping
from email.message import EmailMessage
from email.utils import formatdate
from typing import Final, Protocol

from server.notify.message import Message
from server.notify.outbox import LOG_OUTLET
from server.notify.webhook import WebhookOutlet
from server.settings import Settings

log = logging.getLogger("ringtell.alarms")

#: Seconds until a server that does not answer is called slow.
PATIENCE_S: Final = 20.0


class Outlet(Protocol):
    """One way out. Raises whatever went wrong; the courier notes it and tries again."""

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None: ...


class LogOutlet:
    """One line in the server's log: the outlet that harms nobody."""

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        del recipient, now_ms  # the log has one reader and its own clock
        facts = message.facts
        if "alarm" in facts:
            log.info(
                "alarm %s %s %s: %s, %s",
                facts["alarm"], facts["kind"], facts["action"], facts["state"], facts["urgency"],
            )  # fmt: skip
        else:
            log.info("%s", message.subject)


@dataclasses.dataclass(frozen=True)
class MailOutlet:
    """E-mail over SMTP. `security`: starttls, tls or none."""

    host: str
    port: int
    security: str
    user: str
    password: str = dataclasses.field(repr=False)
    sender: str
    patience_s: float = PATIENCE_S
    #: Certificates to believe instead of the system's (a file), for servers inside a plant.
    authorities: str = ""

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        """Hand one mail to the server; returns once it has taken it."""
        mail = EmailMessage()
        mail["From"], mail["To"], mail["Subject"] = self.sender, recipient, message.subject
        mail["Date"] = formatdate(now_ms / 1000.0, localtime=False)
        mail["Message-ID"] = f"<{message.id}@{self.sender.rpartition('@')[2] or 'ringtell.invalid'}>"
        mail["Auto-Submitted"] = "auto-generated"
        mail.set_content(message.text)
        with self._open() as server:
            if self.security == "starttls":
                server.starttls(context=self._context())
            if self.user:
                server.login(self.user, self.password)
            server.send_message(mail)

    def _context(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.authorities or None)

    def _open(self) -> smtplib.SMTP:
        if self.security == "tls":
            return smtplib.SMTP_SSL(self.host, self.port, timeout=self.patience_s, context=self._context())
        return smtplib.SMTP(self.host, self.port, timeout=self.patience_s)


def outlets_of(settings: Settings) -> Mapping[str, Outlet]:
    """The outlets the environment has told the server how to use."""
    found: dict[str, Outlet] = {LOG_OUTLET: LogOutlet()}
    if settings.smtp_host:
        found["mail"] = MailOutlet(
            host=settings.smtp_host,
            port=settings.smtp_port,
            security=settings.smtp_security,
            user=settings.smtp_user,
            password=settings.smtp_password,
            sender=settings.smtp_sender,
            authorities=settings.smtp_authorities,
        )
    if settings.webhook_hosts and settings.webhook_secret:
        found["webhook"] = WebhookOutlet(
            allowed=tuple(settings.webhook_hosts.split()), secret=settings.webhook_secret
        )
    return found
