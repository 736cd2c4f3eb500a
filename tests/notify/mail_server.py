"""A real mail server on this machine, and a certificate of its own."""

import contextlib
import datetime as dt
import socket
import ssl
from collections.abc import Iterator
from email.message import EmailMessage
from email.parser import BytesParser
from email.policy import default
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("aiosmtpd", reason="no aiosmtpd: pip install aiosmtpd")

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult


class Box:
    """Takes mails; the first `refuse` of them with a trouble for now."""

    def __init__(self, *, refuse: int = 0) -> None:
        self.refuse = refuse
        self.mails: list[EmailMessage] = []
        self.secured: list[bool] = []

    async def handle_DATA(self, _server: Any, session: Any, envelope: Any) -> str:
        if self.refuse > 0:
            self.refuse -= 1
            return "451 busy, come back later"
        self.mails.append(BytesParser(policy=default).parsebytes(envelope.content))
        self.secured.append(session.ssl is not None)
        return "250 kept"


def _check(_server: Any, _session: Any, _envelope: Any, _kind: str, data: Any) -> AuthResult:
    return AuthResult(success=(data.login, data.password) == (b"ringtell", b"heron-teasel-42"))


@contextlib.contextmanager
def mail_server(box: Box, *, certificate: Path | None = None) -> Iterator[int]:
    """The port it listens on. With a certificate it wants STARTTLS and a login before any mail."""
    more: dict[str, Any] = {}
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        more = {
            "tls_context": context,
            "require_starttls": True,
            "auth_required": True,
            "authenticator": _check,
        }
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    controller = Controller(box, hostname="127.0.0.1", port=port, **more)
    controller.start()
    try:
        yield port
    finally:
        controller.stop()


def own_certificate(folder: Path) -> Path:
    """A key and a certificate for localhost in one file, valid for a day."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    place = folder / "mail.pem"
    place.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.TraditionalOpenSSL,
            serialization.NoEncryption(),
        )
        + made.public_bytes(serialization.Encoding.PEM)
    )
    return place
