"""What `ringtell collect …` does: a source, its spool, and whoever empties it, until Ctrl-C.

Each kind of source is loaded by its own command alone: a collector beside a press stays small.
"""

import argparse
import asyncio
import contextlib
import dataclasses
import functools
import logging
import re
import signal
import ssl
import sys
import threading
from collections.abc import Callable, Coroutine, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.collect.forward import Forwarder
from server.collect.reporting import Reporter
from server.collect.sender import Sender
from server.collect.source import SourceState
from server.collect.spool import MOST_SHOTS, Spool
from server.errors import RingtellError, UsageError
from server.settings import Settings

if TYPE_CHECKING:
    from server.cli_presses import Address
    from server.collect.folder import FolderCounts
    from server.collect.mqtt_mapping import MessageMapping
    from server.collect.opcua_session import Access

log = logging.getLogger("ringtell.collect")


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


Work = Callable[[asyncio.Event], Coroutine[Any, Any, None]]


@dataclasses.dataclass(frozen=True)
class Source:
    """A running source: notes go into `state`, shots into `spool`, the rest happens by itself."""

    spool: Spool
    state: SourceState
    refresh: list[Callable[[], None]]


# --- the commands ---------------------------------------------------------------------------


def collect_opcua(given: argparse.Namespace) -> None:
    """Cycles of presses that speak OPC UA."""
    from server.collect.opcua_collect import Station

    given.url = "" if given.url is None else _opcua_url(given.url)
    if given.browse:
        _browse(given)
        return
    addresses = _addresses(given)
    codes = [at.press for address in addresses for at in address.presses]
    doubled = {code for code in codes if codes.count(code) > 1}
    if doubled:
        raise UsageError(f"press {min(doubled)!r} is named twice; a press has one machine")
    name = given.name or ("opcua-" + codes[0] if len(codes) == 1 else "opcua")
    where = addresses[0].url if len(addresses) == 1 else f"{len(addresses)} addresses"
    access = _access(given)
    with _source(given, kind="opcua", name=name, address=where) as source:
        stations = [
            Station(
                address.url,
                address.presses,
                access=dataclasses.replace(access, **address.access),
                spool=source.spool,
                state=source.state,
                trust_new_certificate=given.trust_new_certificate,
            )
            for address in addresses
        ]
        say(f"Listening to {', '.join(codes[:8])}{' …' if len(codes) > 8 else ''} (Ctrl-C stops it)")
        _until_stopped(*(station.run for station in stations))


def collect_mqtt(given: argparse.Namespace) -> None:
    """JSON messages of a broker."""
    from server.collect.mqtt_collect import Broker, Subscriber

    mapping = _mapping(given)
    name = given.name or "mqtt"
    broker = Broker.of_url(
        given.url,
        identifier=f"ringtell-{name}",
        version=given.mqtt_version,
        user=given.user,
        password=_password(given) if given.user else "",
        ca=_file(given.ca),
        certificate=_file(given.certificate),
        private_key=_file(given.private_key),
    )
    with _source(given, kind="mqtt", name=name, address=given.url) as source:
        subscriber = Subscriber(broker, mapping, spool=source.spool, state=source.state)
        say(f"Listening to {mapping.filter} at {given.url} (Ctrl-C stops it)")
        _until_stopped(subscriber.run)


def collect_folder(given: argparse.Namespace) -> None:
    """Files that appear in a folder."""
    from server.collect.folder import PATTERNS, FolderCounts, watch_folder
    from server.collect.noted import NotedSpool
    from server.collect.report_files import FolderOptions

    directory = Path(given.directory)
    if not directory.is_dir():
        raise UsageError(f"{directory} is no folder")
    options = FolderOptions(
        press=given.press,
        mold=given.mold,
        material=given.material,
        time_zone=given.time_zone,
        units=_pairs(given.unit, "--unit"),
        mapping=_pairs(given.map, "--map"),
        injection_unit=given.injection_unit,
    )
    counts, stopping = FolderCounts(), threading.Event()
    name = given.name or f"folder-{given.press}"
    with _source(given, kind="folder", name=name, address=str(directory)) as source:
        source.refresh.append(lambda: _note_folder(source.state, given.press, counts))
        watch = functools.partial(
            watch_folder,
            directory,
            options=options,
            spool=NotedSpool(source.spool, source.state),
            stop=stopping,
            every_s=given.every,
            patterns=tuple(given.pattern) or PATTERNS,
            counts=counts,
        )

        async def work(stop: asyncio.Event) -> None:
            watching = asyncio.ensure_future(asyncio.to_thread(watch))
            told = asyncio.ensure_future(stop.wait())
            await asyncio.wait((watching, told), return_when=asyncio.FIRST_COMPLETED)
            told.cancel()
            stopping.set()
            await watching

        say(f"Watching {directory} for {given.press} (Ctrl-C stops it)")
        _until_stopped(work)


# --- what they share ------------------------------------------------------------------------


@contextlib.contextmanager
def _source(given: argparse.Namespace, *, kind: str, name: str, address: str) -> Iterator[Source]:
    """Spool, sender and reports of a source; all of it ends when the block does."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s", force=True)
    for loud in ("asyncua", "httpx", "httpcore"):
        logging.getLogger(loud).setLevel(logging.ERROR)
    settings = Settings.from_environment()
    most = MOST_SHOTS if given.spool_shots is None else given.spool_shots
    if most < 1:
        raise UsageError(f"--spool-shots {most}: at least 1")
    plain = re.sub(r"[^\w.-]", "-", name)
    spool = Spool(given.spool or f"ringtell-spool-{plain}.db", most_shots=most)
    state = SourceState(name, kind, address=address)
    with contextlib.ExitStack() as ending:
        ending.callback(spool.close)
        forwarder, tell = _way_out(given, settings, spool, name, ending)
        if given.retry_apart:
            say(f"{spool.retry_apart():,} refused shots are tried again")
        refresh: list[Callable[[], None]] = []
        reporter = Reporter(tell, state, spool, forwarder.counts, refresh=refresh)
        forwarder.start()
        ending.callback(forwarder.stop)
        reporter.start()
        ending.callback(reporter.stop)
        yield Source(spool, state, refresh)
    say(f"stopped; {name} has sent {forwarder.counts.stored:,} new shots")


def _way_out(
    given: argparse.Namespace, settings: Settings, spool: Spool, name: str, ending: contextlib.ExitStack
) -> tuple[Forwarder, Callable[[str, bytes], None]]:
    if given.to:
        verify: Any = True
        if given.to_ca:
            try:
                verify = ssl.create_default_context(cafile=given.to_ca)
            except (OSError, ssl.SSLError) as error:
                raise UsageError(f"--to-ca {given.to_ca} cannot be used: {error}") from None
        sender = Sender(given.to, _key(given, settings), spool, verify=verify)
        return sender, sender.report
    from server.cli_local import LocalDatabase

    local = LocalDatabase(settings, source=name)
    ending.callback(local.close)
    say(f"Shots go into {local.shown}; they are evaluated by the server on it")
    return Forwarder(local.deliver, spool), local.report


def _until_stopped(*works: Work) -> None:
    """Run until Ctrl-C or SIGTERM, or until a work ends by itself."""

    async def run() -> None:
        stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        for sign in (signal.SIGINT, signal.SIGTERM):
            # Not every system can; Ctrl-C works there all the same.
            with contextlib.suppress(RuntimeError):
                loop.add_signal_handler(sign, stop.set)
        await asyncio.gather(*(work(stop) for work in works))

    asyncio.run(run())


def _browse(given: argparse.Namespace) -> None:
    from server.collect.opcua_browse import browse
    from server.collect.opcua_session import what_went_wrong

    if not given.url:
        raise UsageError("--browse needs the address: ringtell collect opcua opc.tcp://… --browse")
    logging.getLogger("asyncua").setLevel(logging.CRITICAL)
    try:
        found = asyncio.run(browse(given.url, _access(given), pressure_basis=given.pressure_basis))
    except RingtellError:
        raise
    except Exception as error:  # whatever a strange server answers is one line
        raise RingtellError(f"{given.url}: {what_went_wrong(error)}") from None
    for one in found:
        say("\n".join(one.lines()))


def _addresses(given: argparse.Namespace) -> "list[Address]":
    from server.cli_presses import Address, read_presses
    from server.collect.opcua_cycle import CycleOptions
    from server.collect.opcua_keep import PressAt

    options = CycleOptions(
        pressure_basis=given.pressure_basis,
        assume=given.assume_units or "",
        unit=given.injection_unit,
    )
    addresses = [] if given.presses is None else read_presses(Path(given.presses), options)
    if given.url and given.press:
        pairs = [text.partition("=") for text in given.press]
        if any(not press or (sign and not machine) for press, sign, machine in pairs):
            raise UsageError("--press: write it as P07, or as P07=MACHINE")
        ats = tuple(PressAt(press, machine, options) for press, _, machine in pairs)
        addresses.append(Address(given.url, ats, {}))
    elif given.url or given.press:
        raise UsageError("give the address and --press P07 together, or --browse to see what is there")
    if not addresses:
        raise UsageError("give an address and --press P07, or --presses FILE")
    return addresses


def _opcua_url(url: str) -> str:
    if "@" in url:
        raise UsageError("leave name and password out of the address; see --user and --password-file")
    if not url.startswith("opc.tcp://"):
        raise UsageError(f"{url!r}: write the address as opc.tcp://press7.example:4840")
    return url


def _access(given: argparse.Namespace) -> "Access":
    from server.collect.opcua_session import Access

    spool = Path(given.spool) if given.spool else Path()
    access = Access(
        folder=spool.parent,
        security=given.security,
        certificate=_file(given.certificate),
        private_key=_file(given.private_key),
        server_certificate=_file(given.server_certificate),
        user=given.user,
        password=_password(given) if given.user else "",
        user_certificate=_file(given.user_certificate),
        user_key=_file(given.user_key),
    )
    access.check()
    return access


def _mapping(given: argparse.Namespace) -> "MessageMapping":
    from server.collect.mqtt_mapping import load_mapping, read_mapping

    if (given.mapping is None) == (given.topic is None):
        raise UsageError("give either --topic 'plant/imm/{press}/shot' or --mapping FILE")
    return read_mapping({"topic": given.topic}) if given.topic else load_mapping(Path(given.mapping))


def _file(name: str | None) -> Path | None:
    if name is None:
        return None
    if not Path(name).is_file():
        raise UsageError(f"no file at {name}")
    return Path(name)


def _password(given: argparse.Namespace) -> str:
    return _secret(given.password_file, Settings.from_environment().collect_password)


def _key(given: argparse.Namespace, settings: Settings) -> str:
    return given.key or _secret(given.key_file, settings.collect_key)


def _secret(file: str | None, otherwise: str) -> str:
    path = _file(file)
    return otherwise if path is None else path.read_text(encoding="utf-8").strip()


def _pairs(texts: list[str], option: str) -> dict[str, str]:
    pairs = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign or not name or not value:
            raise UsageError(f"{option} {text!r}: write it as NAME=VALUE")
        pairs[name] = value
    return pairs


def _note_folder(state: SourceState, press: str, counts: "FolderCounts") -> None:
    """What the folder's reader noted, as the page of the sources shows it."""
    files = {"files": f"{counts.files:,}", "notes": "; ".join(sorted(counts.notes))[:400]}
    state.facts(press, {name: text for name, text in files.items() if text})
    troubles = [f"{name}: {why}" for name, why in list(counts.troubles.items())[:3]]
    state.trouble("; ".join(troubles))
