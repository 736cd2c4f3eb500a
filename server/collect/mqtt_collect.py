"""Collecting from an MQTT broker: QoS 1, a session that outlives us, acknowledged only once on disk.

The broker keeps what is not acknowledged and what comes while nobody is connected, and sends it
again; a message may come twice and the server knows it again. Nothing is ever published.
"""

import asyncio
import collections
import dataclasses
import datetime as dt
import hashlib
import logging
import random
import ssl
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import aiomqtt
import msgspec
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from server.clock import from_datetime
from server.collect.mqtt_mapping import MessageMapping
from server.collect.mqtt_message import UnreadableMessageError, read_message
from server.collect.patience import keep_patiently, pause
from server.collect.source import SourceState
from server.collect.spool import Spool, StoppedWaitingError
from server.errors import UsageError

log = logging.getLogger("ringtell.collect")

FIRST_WAIT_S: Final = 1.0
LONGEST_WAIT_S: Final = 60.0
_HELD_S: Final = 30.0
_AT_ONCE: Final = 200
_REMEMBERED: Final = 5_000
_PORTS: Final = {"mqtt": 1883, "mqtts": 8883}
#: How long a broker of MQTT 5 keeps the session while we are away: 30 days.
_SESSION_S: Final = 30 * 86_400
_RAW_MAX: Final = 1 << 20


@dataclasses.dataclass(frozen=True)
class Broker:
    """Where and as whom. `identifier` names the durable session: the same after every start."""

    host: str
    port: int
    identifier: str
    tls: bool = False
    version: int = 3
    user: str = ""
    password: str = dataclasses.field(default="", repr=False)
    ca: Path | None = None
    certificate: Path | None = None
    private_key: Path | None = None

    @classmethod
    def of_url(cls, url: str, **more: Any) -> "Broker":
        """`mqtt://host[:port]`, or mqtts:// with TLS. A password has no place in it.

        >>> Broker.of_url("mqtts://broker.example", identifier="a").port
        8883
        """
        if "@" in url:
            raise UsageError("leave name and password out of the address; see --user and --password-file")
        parts = urlsplit(url)
        try:
            port = parts.port
        except ValueError:
            port = -1
        if parts.scheme not in _PORTS or not parts.hostname or port == -1:
            raise UsageError(f"{url!r}: write the broker's address as mqtt://broker.example or mqtts://…")
        return cls(parts.hostname, port or _PORTS[parts.scheme], tls=parts.scheme == "mqtts", **more)

    def context(self) -> ssl.SSLContext | None:
        """TLS with the broker's certificate checked, against `ca` where one is given."""
        if not self.tls:
            return None
        try:
            context = ssl.create_default_context(cafile=None if self.ca is None else str(self.ca))
            if self.certificate is not None:
                context.load_cert_chain(self.certificate, self.private_key)
        except (OSError, ssl.SSLError) as error:
            raise UsageError(f"the certificate files cannot be used: {error}") from None
        return context


class Subscriber:
    """One broker, one topic pattern."""

    def __init__(
        self,
        broker: Broker,
        mapping: MessageMapping,
        *,
        spool: Spool,
        state: SourceState,
        seed: int | None = None,
    ) -> None:
        self.broker = broker
        self.mapping = mapping
        self._spool = spool
        self._state = state
        self._context = broker.context()
        self._chance = random.Random(seed)
        self._recent: collections.OrderedDict[bytes, None] = collections.OrderedDict()
        self._stop = asyncio.Event()
        self.connections = 0

    async def run(self, stop: asyncio.Event) -> None:
        """Collect until `stop`; every trouble is told and tried again, each time later."""
        failures = 0
        self._stop = stop
        while not stop.is_set():
            began = time.monotonic()
            try:
                await self._one_session(stop)
                return
            except StoppedWaitingError:
                return
            except (aiomqtt.MqttError, OSError, TimeoutError) as error:
                trouble = f"the broker {self.broker.host}:{self.broker.port}: {error}"
            failures = 0 if time.monotonic() - began > _HELD_S else failures + 1
            longest = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 20))
            wait_s = longest * self._chance.uniform(0.5, 1.0)
            self._state.trouble(trouble)
            log.warning("%s; again in %.1f s", trouble, wait_s)
            await pause(stop, wait_s)

    def _client(self) -> aiomqtt.Client:
        five = self.broker.version == 5
        properties = None
        if five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's own gap
            properties.SessionExpiryInterval = _SESSION_S
        client = aiomqtt.Client(
            self.broker.host,
            self.broker.port,
            identifier=self.broker.identifier,
            username=self.broker.user or None,
            password=self.broker.password or None,
            protocol=aiomqtt.ProtocolVersion.V5 if five else aiomqtt.ProtocolVersion.V311,
            clean_session=None if five else False,
            clean_start=False if five else 3,
            properties=properties,
            tls_context=self._context,
            timeout=10.0,
            keepalive=30,
        )
        # The library below acknowledges by itself unless told not to; aiomqtt has no word for it.
        client._client.manual_ack_set(True)
        return client

    async def _one_session(self, stop: asyncio.Event) -> None:
        stopping = asyncio.ensure_future(stop.wait())
        try:
            async with self._client() as client:
                await client.subscribe(self.mapping.filter, qos=1)
                self.connections += 1
                log.info("subscribed to %s", self.mapping.filter)
                self._state.trouble("")
                while not stop.is_set():
                    messages = await _some(client, stopping)
                    if messages:
                        await self._take(client, messages)
        finally:
            stopping.cancel()

    async def _take(self, client: aiomqtt.Client, messages: Sequence[aiomqtt.Message]) -> None:
        """Onto the disk, then acknowledged; in this order and no other."""
        shots: dict[bytes, dict[str, Any]] = {}
        for message in messages:
            topic, payload = str(message.topic), _payload(message)
            try:
                shot = read_message(topic, payload, self.mapping)
            except UnreadableMessageError as error:
                await self._keep_apart(topic, payload, error)
                continue
            # The very same lately came: not again. Another with the same key goes on to the server.
            digest = hashlib.blake2b(msgspec.json.encode(shot, order="sorted"), digest_size=16).digest()
            if digest not in self._recent:
                shots[digest] = shot
        if shots:
            kept = list(shots.values())
            await self._patiently(lambda: self._spool.append(kept))
            self._note(kept)
            self._remember(shots)
        for message in messages:
            client._client.ack(message.mid, message.qos)

    def _note(self, shots: Sequence[dict[str, Any]]) -> None:
        by_press: dict[str, list[str]] = {}
        for shot in shots:
            by_press.setdefault(str(shot["press"]), []).append(str(shot["at"]))
        for press, times in by_press.items():
            self._state.shots(press, count=len(times), last_ms=_ms_of(max(times)))
            self._state.connected(press, True)

    async def _keep_apart(self, topic: str, payload: bytes, error: UnreadableMessageError) -> None:
        raw = f"{topic} {payload[:_RAW_MAX].decode('utf-8', 'backslashreplace')}"
        press = self.mapping.presses.get(error.press, error.press)
        self._state.apart(press or "(unknown)", error.reason)
        log.error("a message on %s is kept apart: %s", topic, error.reason)
        await self._patiently(
            lambda: self._spool.keep_apart(press, raw, code=error.code, reason=error.reason)
        )

    def _remember(self, digests: Iterable[bytes]) -> None:
        self._recent.update(dict.fromkeys(digests))
        while len(self._recent) > _REMEMBERED:
            self._recent.popitem(last=False)

    async def _patiently(self, keep: Callable[[], None]) -> None:
        await keep_patiently(keep, state=self._state, stop=self._stop)


async def _some(client: aiomqtt.Client, stopping: "asyncio.Future[Any]") -> list[aiomqtt.Message]:
    """What waits, at least one, or nothing when it is time to stop."""
    first = asyncio.ensure_future(anext(client.messages))
    try:
        await asyncio.wait((first, stopping), return_when=asyncio.FIRST_COMPLETED)
    finally:
        if not first.done():
            first.cancel()
            await asyncio.gather(first, return_exceptions=True)
    if first.cancelled():
        return []
    messages = [first.result()]
    while len(client.messages) and len(messages) < _AT_ONCE:
        messages.append(await anext(client.messages))
    return messages


def _payload(message: aiomqtt.Message) -> bytes:
    return bytes(message.payload) if isinstance(message.payload, bytes | bytearray) else b""


def _ms_of(text: str) -> int:
    return from_datetime(dt.datetime.fromisoformat(text))
