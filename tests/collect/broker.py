"""A real broker for the tests: mosquitto in a folder of the test, killed and started again at will."""

import datetime as dt
import ipaddress
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

from tests.processes import free_port


def program(name: str) -> str:
    found = shutil.which(name, path="/usr/local/sbin:/usr/sbin:/usr/local/bin:/usr/bin:/sbin:/bin")
    if found is None:
        pytest.skip(f"{name} is not installed (Debian: apt-get install mosquitto)")
    return found


class Mosquitto:
    """A broker with a memory on disk. `stop` ends it in order, `kill` as a power cut does."""

    def __init__(
        self, folder: Path, *, password_of: tuple[str, str] | None = None, tls: bool = False
    ) -> None:
        self._program = program("mosquitto")
        self.folder = folder
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        lines = [
            f"listener {self.port} 127.0.0.1", "persistence true", f"persistence_location {folder}/",
            "autosave_on_changes true", "autosave_interval 1", "max_queued_messages 0", "user root",
        ]  # fmt: skip
        if tls:
            certificate, key = self_signed(folder)
            lines += [f"certfile {certificate}", f"keyfile {key}"]
        if password_of is None:
            lines.append("allow_anonymous true")
        else:
            words = folder / "passwords"
            words.touch(mode=0o600)
            subprocess.run(
                [program("mosquitto_passwd"), "-b", str(words), *password_of], check=True, capture_output=True
            )
            lines += ["allow_anonymous false", f"password_file {words}"]
        self._settings = folder / "mosquitto.conf"
        self._settings.write_text("\n".join(lines) + "\n")

    def start(self) -> "Mosquitto":
        with (self.folder / "broker.log").open("ab") as log:
            self._process = subprocess.Popen(
                [self._program, "-c", str(self._settings)], stdout=log, stderr=subprocess.STDOUT
            )
        until = time.monotonic() + 20
        while time.monotonic() < until:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            time.sleep(0.05)
        raise AssertionError((self.folder / "broker.log").read_text())

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(20)
            self._process = None

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(20)
            self._process = None

    def __enter__(self) -> "Mosquitto":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.kill()


def self_signed(folder: Path) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 and its key."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker.example")])
    now = dt.datetime.now(dt.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    certificate_file, key_file = folder / "broker.pem", folder / "broker.key"
    certificate_file.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    key_file.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return certificate_file, key_file
