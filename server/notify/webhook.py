"""A signed POST to another server: only to hosts the environment lists, to an address that was checked."""

import dataclasses
import hashlib
import hmac
import http.client
import ipaddress
import json
import socket
import ssl
from collections.abc import Sequence
from urllib.parse import SplitResult, urlsplit

from server.errors import InvalidError, RingtellError
from server.language import N_
from server.notify.message import Message

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

#: Header of the moment of sending (ms since 1970) and of the digest over it, the id and the body.
SENT_HEADER, DIGEST_HEADER, ID_HEADER = "Ringtell-Sent", "Ringtell-Digest", "Ringtell-Message"
#: Bytes of an answer that are read at most; nobody looks at them.
ANSWER_BYTES = 4_096


class NotTakenError(RingtellError):
    """The other server did not take the message."""


def digest_of(secret: str, *, sent: str, message_id: str, body: bytes) -> str:
    """HMAC-SHA256 (hex) over moment, id and body, each ended by a line feed but the body.

    >>> digest_of("k", sent="1", message_id="m", body=b"{}")[:16]
    'a2ac959745db3d8b'
    """
    signed = f"{sent}\n{message_id}\n".encode() + body
    return hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()


def read_target(url: str) -> SplitResult:
    """The address of a webhook, or InvalidError: http or https, a host, nobody's password."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise _no_address() from None
    if parts.scheme not in ("http", "https") or not parts.hostname or port == 0:
        raise _no_address()
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise InvalidError(
            N_("recipient carries a user, a password or a fragment; the signature is what tells who sends"),
            field="recipient",
        )
    if any(ord(letter) <= 32 or ord(letter) == 127 for letter in url):
        raise InvalidError(N_("recipient holds a blank or a control character"), field="recipient")
    return parts


def _no_address() -> InvalidError:
    return InvalidError(N_("recipient is no address like https://hooks.example/path"), field="recipient")


def _named(host: str, allowed: Sequence[str]) -> bool:
    return host.lower().rstrip(".") in {entry.lower().rstrip(".") for entry in allowed}


def allowed_address(host: str, port: int, allowed: Sequence[str]) -> Address:
    """The address to connect to, or InvalidError.

    The host must be listed by name or address. An address that is not public (loopback, private,
    link-local and their like) must be listed as well, itself or as a network such as 10.0.0.0/8.
    """
    if not _named(host, allowed):
        raise InvalidError(N_("host {host!r} is not in RINGTELL_WEBHOOK_HOSTS", host=host), field="recipient")
    found = [entry[4][0] for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    addresses = [_plain(str(one)) for one in found]
    refused = [address for address in addresses if not (address.is_global or _inside(address, allowed))]
    if refused or not addresses:
        raise InvalidError(
            N_(
                "host {host!r} leads to {join}, which is not public; list the address or its network"
                " in RINGTELL_WEBHOOK_HOSTS to allow it",
                host=host,
                join=", ".join(map(str, refused)) or "nowhere",
            ),
            field="recipient",
        )
    return addresses[0]


def _plain(text: str) -> Address:
    """The address; an IPv4 one wrapped in IPv6 is the IPv4 one."""
    address = ipaddress.ip_address(text.partition("%")[0])
    mapped = getattr(address, "ipv4_mapped", None)
    return mapped or address


def _inside(address: Address, allowed: Sequence[str]) -> bool:
    for entry in allowed:
        try:
            network = ipaddress.ip_network(entry, strict=False)
        except ValueError:
            continue
        if address.version == network.version and address in network:
            return True
    return False


class _Pinned(http.client.HTTPConnection):
    """Connects to the address that was checked, whatever the name leads to a moment later."""

    def __init__(
        self, host: str, port: int, address: Address, context: ssl.SSLContext | None, timeout: float
    ) -> None:
        super().__init__(host, port, timeout=timeout)
        self._address, self._context = str(address), context

    def connect(self) -> None:
        self.sock = socket.create_connection((self._address, self.port), self.timeout)
        if self._context is not None:
            self.sock = self._context.wrap_socket(self.sock, server_hostname=self.host)


@dataclasses.dataclass(frozen=True)
class WebhookOutlet:
    """Signed POSTs. `allowed`: hosts, and addresses or networks inside the plant."""

    allowed: tuple[str, ...]
    secret: str = dataclasses.field(repr=False)
    patience_s: float = 15.0

    def check(self, url: str) -> None:
        """Refuse an address messages could not be sent to, before a route is kept."""
        parts = read_target(url)
        host = parts.hostname or ""
        if not _named(host, self.allowed):
            raise InvalidError(
                N_("host {host!r} is not in RINGTELL_WEBHOOK_HOSTS", host=host), field="recipient"
            )

    def send(self, message: Message, recipient: str, *, now_ms: int) -> None:
        """One POST; anything but a 2xx is a failure, and a redirect is not followed."""
        parts = read_target(recipient)
        host, secure = parts.hostname or "", parts.scheme == "https"
        port = parts.port or (443 if secure else 80)
        address = allowed_address(host, port, self.allowed)
        if address.is_global and not secure:
            raise InvalidError(
                N_("{host!r} lies outside the plant: only https goes there", host=host), field="recipient"
            )
        body = json.dumps({**message.facts, "text": message.text}, sort_keys=True).encode()
        sent = str(now_ms)
        context = ssl.create_default_context() if secure else None
        connection = _Pinned(host, port, address, context, self.patience_s)
        try:
            path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
            connection.request("POST", path, body, self._headers(message, sent, body))
            answer = connection.getresponse()
            answer.read(ANSWER_BYTES)
        finally:
            connection.close()
        if not 200 <= answer.status < 300:
            raise NotTakenError(N_("{host} answered {status}", host=host, status=answer.status))

    def _headers(self, message: Message, sent: str, body: bytes) -> dict[str, str]:
        return {
            "Content-Type": "application/json",
            "User-Agent": "Ringtell",
            ID_HEADER: message.id,
            SENT_HEADER: sent,
            DIGEST_HEADER: digest_of(self.secret, sent=sent, message_id=message.id, body=body),
        }
