"""TLS from files, what a proxy is believed, headers on every answer, ended streams, silent logs."""

import datetime as dt
import logging
import ssl
from collections.abc import AsyncIterator
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import anyio
import pytest
import uvicorn
from fastapi import Request

from server import serving
from server.errors import UsageError
from server.events import Happened
from server.routes import live
from server.settings import Settings
from tests.access.plant import PASSWORD, plant, with_password


def certificate(folder: Path, *, password: bytes | None = None) -> tuple[str, str]:
    """A certificate for this machine made here, or a skip that says why not."""
    pytest.importorskip("cryptography", reason="makes the certificate of these tests")
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    start = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(start)
        .not_valid_after(start + dt.timedelta(days=3650))
        .sign(key, hashes.SHA256())
    )
    how = serialization.BestAvailableEncryption(password) if password else serialization.NoEncryption()
    cert, private = folder / "plant.crt", folder / "plant.key"
    cert.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, how))
    return str(cert), str(private)


def test_a_certificate_and_its_key_make_a_tls_context(tmp_path: Path) -> None:
    cert, key = certificate(tmp_path)
    options = serving._tls(Settings(tls_cert=cert, tls_key=key))
    config = uvicorn.Config(lambda: None, **options)
    config.load()
    assert isinstance(config.ssl, ssl.SSLContext)
    assert config.ssl.minimum_version >= ssl.TLSVersion.TLSv1_2
    assert serving._tls(Settings()) == {}


def test_what_is_wrong_with_the_files_is_said_before_serving(tmp_path: Path) -> None:
    cert, key = certificate(tmp_path)
    with pytest.raises(UsageError, match="belong together"):
        serving._tls(Settings(tls_cert=cert))
    with pytest.raises(UsageError, match="cannot be used"):
        serving._tls(Settings(tls_cert=key, tls_key=cert))
    with pytest.raises(UsageError, match="cannot be used"):
        serving._tls(Settings(tls_cert=str(tmp_path / "none"), tls_key=key))
    locked, locked_key = certificate(tmp_path, password=b"a password")
    with pytest.raises(UsageError, match="key has a password"):
        serving._tls(Settings(tls_cert=locked, tls_key=locked_key))


def test_settings_name_the_files_in_the_environment() -> None:
    named = {"TLS_CERT": "a.crt", "TLS_KEY": "a.key", "TRUSTED_PROXIES": "10.0.0.1"}
    settings = Settings.from_environment({f"RINGTELL_{name}": text for name, text in named.items()})
    assert (settings.tls_cert, settings.tls_key, settings.trusted_proxies) == ("a.crt", "a.key", "10.0.0.1")


@pytest.mark.parametrize("path", ["/api/v1/me", "/api/v1/nothing", "/api/v1/alarms"])
def test_every_answer_is_bound_and_tls_is_for_good_only_under_tls(sqlite_url: str, path: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("vera", "viewer")
        plain = call("GET", path).headers
        assert plain["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in plain["content-security-policy"]
        assert plain["cache-control"] == "no-store"
        assert "strict-transport-security" not in plain
        assert "max-age" in call("GET", f"https://127.0.0.1:8000{path}").headers["strict-transport-security"]


def test_a_request_cannot_say_by_itself_that_it_came_over_tls(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        body = {"name": "vera", "password": PASSWORD}
        told = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "10.9.9.9"}
        answer = here.caller()("POST", "/api/v1/login", body, headers=told)
        assert "Secure" not in answer.headers["set-cookie"]
        assert "strict-transport-security" not in answer.headers


def test_no_secret_reaches_the_log(sqlite_url: str, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        token = eda("POST", "/api/v1/keys", {"scopes": ["read"]}).json()["token"]
        here.caller(Authorization=f"Bearer {token}")("GET", "/api/v1/me")
        here.caller(Authorization="Bearer rtk_mistaken-secret")("GET", "/api/v1/me")
        here.caller()("POST", "/api/v1/login", {"name": "my secret sentence", "password": "x"})
        here.caller()("POST", "/api/v1/login", {"name": "eda", "password": "wrong sentence 99"})
        cookie = next(iter(eda.cookies.values()))
        eda("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": "270915"})
        root = here.person("root", "administrator")
        once = root("POST", "/api/v1/people", {"name": "lena", "role": "viewer"}).json()["one_time_password"]
    assert "eda signed in" in caplog.text
    assert "wrong password for eda" in caplog.text
    secrets = (token, cookie, PASSWORD, once, "270915", "mistaken-secret", "my secret", "wrong sentence")
    assert [one for one in secrets if one in caplog.text] == []


def test_a_busy_stream_ends_when_its_session_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    async def many() -> AsyncIterator[Happened]:
        while True:
            await anyio.sleep(0)
            yield Happened("shots", "P07")

    holds = iter([True, True, False])
    monkeypatch.setattr(live, "HOLDS_FOR_S", 0.0)
    monkeypatch.setattr(live, "_holds", lambda _request: next(holds))
    hub = SimpleNamespace(listen=many)
    state = SimpleNamespace(ringtell=SimpleNamespace(hub=hub))
    request = SimpleNamespace(app=SimpleNamespace(state=state))

    async def heard() -> list[str]:
        return [part async for part in live._events(cast(Request, request))]

    parts = anyio.run(heard)
    assert sum(part.startswith("event: shots") for part in parts) == 2
