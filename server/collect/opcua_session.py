"""A session with a press: security, who asks, and the certificate the press showed the first time.

Policies: None and Basic256Sha256, signed or signed and encrypted; a user name with password or a
user certificate. Without a certificate of ours one is made and kept beside the spool; the press has
to be told to trust it. A press is remembered by its certificate: one that shows another later is
not spoken to until somebody says so.
"""

import dataclasses
import hashlib
import logging
from pathlib import Path
from typing import Any, Final, Literal

from asyncua import Client, ua
from asyncua.crypto import security_policies, uacrypto
from asyncua.ua.uaerrors import UaError
from cryptography import x509

from server.errors import RingtellError, UsageError

log = logging.getLogger("ringtell.collect")

APPLICATION_URI: Final = "urn:ringtell:collector"
_MODES: Final = {
    "sign": ua.MessageSecurityMode.Sign,
    "encrypt": ua.MessageSecurityMode.SignAndEncrypt,
}
_ANSWER_WITHIN_S: Final = 10.0
_SESSION_MS: Final = 120_000

Security = Literal["none", "sign", "encrypt"]


class StrangeCertificateError(RingtellError):
    """The press shows another certificate than before, or than the one it was given with."""

    code, status, title = "strange_certificate", 403, "Another certificate than before"


@dataclasses.dataclass(frozen=True)
class Access:
    """How to be let in. `folder`: where a certificate of our own is made where none is given."""

    folder: Path
    security: Security = "none"
    certificate: Path | None = None
    private_key: Path | None = None
    server_certificate: Path | None = None
    user: str = ""
    password: str = dataclasses.field(default="", repr=False)
    user_certificate: Path | None = None
    user_key: Path | None = None

    def check(self) -> None:
        """Raise a `UsageError` for what cannot go together."""
        pairs = {
            ("--certificate", "--private-key"): (self.certificate, self.private_key),
            ("--user-certificate", "--user-key"): (self.user_certificate, self.user_key),
        }
        for (one, other), given in pairs.items():
            if (given[0] is None) != (given[1] is None):
                raise UsageError(f"{one} and {other} belong together: give both or none")
        files = (self.certificate, self.private_key, self.server_certificate, self.user_certificate)
        for file in (*files, self.user_key):
            if file is not None and not file.is_file():
                raise UsageError(f"no file at {file}")
        if self.security == "none" and (self.certificate or self.server_certificate):
            raise UsageError("a certificate needs --security sign or encrypt")


async def open_client(url: str, access: Access, *, remembered: str | None) -> tuple[Client, str]:
    """A connected client and the fingerprint of the press's certificate ('' without security).

    remembered: the fingerprint of before. Raises what the connection raises, and
    `StrangeCertificateError`.
    """
    # The library asks after the press by itself and would give it one second to answer: a press that is
    # busy for two was cut off, and what it finished until it was found again was lost.
    client = Client(url, timeout=_ANSWER_WITHIN_S, watchdog_intervall=_ANSWER_WITHIN_S)
    client.name = client.description = "Ringtell collector"
    client.application_uri = APPLICATION_URI
    client.session_timeout = _SESSION_MS
    if access.user:
        client.set_user(access.user)
        client.set_password(access.password)
    if access.user_certificate is not None and access.user_key is not None:
        await client.load_client_certificate(str(access.user_certificate))
        await client.load_private_key(access.user_key)
    fingerprint = ""
    if access.security != "none":
        fingerprint = await _secure(client, access)
        if remembered and fingerprint != remembered:
            raise StrangeCertificateError(
                f"{url} shows a certificate {fingerprint[:16]}…, before it was {remembered[:16]}…; when the"
                " press got a new one, start once with --trust-new-certificate"
            )
    await client.connect()
    return client, fingerprint


async def _secure(client: Client, access: Access) -> str:
    certificate, key = access.certificate, access.private_key
    if certificate is None or key is None:
        certificate, key = await own_certificate(client, access.folder)
    else:
        client.application_uri = _uri_of(certificate) or APPLICATION_URI
    given = access.server_certificate
    await client.set_security(
        security_policies.SecurityPolicyBasic256Sha256,
        certificate,
        key,
        server_certificate=None if given is None else uacrypto.CertProperties(given),
        mode=_MODES[access.security],
    )
    shown: Any = client.security_policy.peer_certificate
    return hashlib.sha256(shown).hexdigest() if isinstance(shown, bytes) else ""


async def own_certificate(client: Client, folder: Path) -> tuple[Path, Path]:
    """Our certificate and key in `folder`, made where there are none; the key is for its owner alone."""
    certificate, key = folder / "ringtell-collector.der", folder / "ringtell-collector.key.pem"
    fresh = not certificate.exists()
    folder.mkdir(parents=True, exist_ok=True)
    await client.setup_self_signed_certificate(key, certificate)
    key.chmod(0o600)
    if fresh:
        log.warning("a certificate was made: tell the press to trust %s", certificate)
    return certificate, key


def _uri_of(certificate: Path) -> str | None:
    """The application address written in a certificate: a press compares it with what we say."""
    data = certificate.read_bytes()
    try:
        load = x509.load_pem_x509_certificate if b"-----" in data else x509.load_der_x509_certificate
        read = load(data)
        names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return None
    found = names.get_values_for_type(x509.UniformResourceIdentifier)
    return found[0] if found else None


def what_went_wrong(error: BaseException) -> str:
    """Trouble with a press in one line that names the way out where one is known."""
    name = type(error).__name__
    hints = {
        "BadUserAccessDenied": "user name or password is not taken; see --user",
        "BadIdentityTokenRejected": "the press wants another way to log in; see --user",
        "BadIdentityTokenInvalid": "user name, password or user certificate is not taken; see --user",
        "BadSecurityChecksFailed": "the press does not trust our certificate yet; accept it there",
        "BadCertificateUntrusted": "the press does not trust our certificate yet; accept it there",
        "BadSecurityPolicyRejected": "the press wants another security; see --security",
    }
    if isinstance(error, RingtellError):
        return error.message
    if name in hints:
        return f"{hints[name]} ({name})"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    text = str(error) or name
    if isinstance(error, UaError) and "No matching endpoints" in text:
        return "the press offers no endpoint of this security; see --security"
    return f"{name}: {text}"[:300]
