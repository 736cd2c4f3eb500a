"""Being let in: signed and encrypted sessions, names and certificates, and a press that changed its own."""

import asyncio
import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from asyncua import Server, ua
from asyncua.crypto.cert_gen import setup_self_signed_certificate
from asyncua.crypto.permission_rules import SimpleRoleRuleset, User, UserRole
from asyncua.server.user_managers import UserManager
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

from server.collect.opcua_browse import browse
from server.collect.opcua_collect import Station
from server.collect.opcua_keep import PressAt
from server.collect.opcua_session import Access, StrangeCertificateError, open_client
from server.collect.source import SourceState
from server.collect.spool import Spool
from server.errors import UsageError
from tests.collect.opcua_press import PressServer, simulated_shots, until
from tests.processes import free_port


class OnlyMara(UserManager):
    def get_user(
        self, iserver: Any, username: Any = None, password: Any = None, certificate: Any = None
    ) -> Any:
        if certificate is not None and username is None:
            return User(role=UserRole.User)
        return User(role=UserRole.User) if (username, password) == ("mara", "open sesame") else None


async def secured(folder: Path, port: int, policy: Any) -> PressServer:
    """A press that takes this policy and nothing else, and lets Mara in."""
    press = PressServer(port)
    press.server = Server(user_manager=OnlyMara())
    folder.mkdir(parents=True, exist_ok=True)
    certificate, key = folder / "press.der", folder / "press.pem"
    uri = "urn:press.example:imm"
    use = [ExtendedKeyUsageOID.SERVER_AUTH]
    await setup_self_signed_certificate(key, certificate, uri, "press.example", use, {})
    await press.server.init()
    press.ready = True
    await press.server.set_application_uri(uri)
    rules = SimpleRoleRuleset()  # type: ignore[no-untyped-call]  # asyncua's own gap
    press.server.set_security_policy([policy], permission_ruleset=rules)
    press.server.set_identity_tokens([ua.X509IdentityToken, ua.UserNameIdentityToken])
    await press.server.load_certificate(str(certificate))
    await press.server.load_private_key(key)
    return press


POLICIES = {
    "sign": ua.SecurityPolicyType.Basic256Sha256_Sign,
    "encrypt": ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt,
}


def mara(folder: Path, security: Any, **more: Any) -> Access:
    return Access(folder, security=security, **{"user": "mara", "password": "open sesame", **more})


@pytest.mark.parametrize("security", ["sign", "encrypt"])
def test_cycles_come_over_a_secured_session(spool: Spool, tmp_path: Path, security: Any) -> None:
    made = simulated_shots(3)
    address = []

    async def test() -> None:
        async with await secured(tmp_path / "press", free_port(), POLICIES[security]) as press:
            address.append(press.url)
            machine = await press.add_machine("IMM-7")
            state = SourceState("opcua-test", "opcua")
            station = Station(
                press.url, [PressAt("P07")], access=mara(tmp_path, security), spool=spool, state=state
            )
            stop = asyncio.Event()
            task = asyncio.create_task(station.run(stop))
            await until(lambda: state.of("P07").connected, within_s=40)
            for shot in made:
                await machine.fire(shot)
            await until(lambda: spool.state().waiting == 3)
            stop.set()
            await asyncio.wait_for(task, 20)

    asyncio.run(test())
    assert spool.mark(f"certificate {address[0]}")
    assert (tmp_path / "ringtell-collector.key.pem").stat().st_mode & 0o077 == 0


def test_a_wrong_password_no_security_and_a_strange_certificate_are_refused(tmp_path: Path) -> None:
    async def test() -> None:
        port = free_port()
        async with await secured(tmp_path / "press", port, POLICIES["encrypt"]) as press:
            await press.add_machine("IMM-7")
            guess = mara(tmp_path, "encrypt", password="guess")
            with pytest.raises(ua.UaError):
                await browse(press.url, guess, pressure_basis="specific")
            with pytest.raises(ua.UaError):
                await browse(press.url, Access(tmp_path), pressure_basis="specific")
            client, first = await open_client(press.url, mara(tmp_path, "encrypt"), remembered=None)
            await client.disconnect()
        async with await secured(tmp_path / "another", port, POLICIES["encrypt"]) as press:
            with pytest.raises(StrangeCertificateError, match="trust-new-certificate"):
                await open_client(press.url, mara(tmp_path, "encrypt"), remembered=first)

    asyncio.run(test())


def test_a_certificate_lets_in_without_a_password(tmp_path: Path) -> None:
    async def test() -> None:
        key, certificate = tmp_path / "mara.pem", tmp_path / "mara.der"
        await setup_self_signed_certificate(
            key, certificate, "urn:mara.example", "mara.example", [ExtendedKeyUsageOID.CLIENT_AUTH], {}
        )
        async with await secured(tmp_path / "press", free_port(), POLICIES["encrypt"]) as press:
            await press.add_machine("IMM-7", serial="SN-77")
            access = Access(tmp_path, security="encrypt", user_certificate=certificate, user_key=key)
            (found,) = await browse(press.url, access, pressure_basis="specific")
            assert found.serial == "SN-77"

    asyncio.run(test())


def test_our_own_certificate_holds_for_years(tmp_path: Path) -> None:
    from asyncua import Client

    from server.collect.opcua_session import own_certificate

    async def test() -> tuple[Path, Path]:
        return await own_certificate(Client("opc.tcp://press.example"), tmp_path)

    certificate, _ = asyncio.run(test())
    read = x509.load_der_x509_certificate(certificate.read_bytes())
    assert read.not_valid_after_utc - dt.datetime.now(dt.UTC) > dt.timedelta(days=300)


@pytest.mark.parametrize(
    "given",
    [{"certificate": Path(__file__)}, {"user_key": Path(__file__)}, {"server_certificate": Path(__file__)}],
)
def test_what_cannot_go_together_is_a_usage_error(tmp_path: Path, given: dict[str, Any]) -> None:
    with pytest.raises(UsageError):
        Access(tmp_path, **given).check()
