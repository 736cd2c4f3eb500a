"""The compose file's broker and collectors: settings a real broker starts with, commands that exist."""

import re
import shlex
import subprocess
import time
from pathlib import Path

import pytest

from server.cli import parser
from tests.architecture.modules import ROOT
from tests.collect.broker import program, self_signed
from tests.processes import free_port

COMPOSE = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")


def test_the_brokers_settings_are_taken_by_a_real_broker(tmp_path: Path) -> None:
    certificate, key = self_signed(tmp_path)
    words = tmp_path / "passwords"
    words.touch(mode=0o600)
    made = [program("mosquitto_passwd"), "-b", str(words), "collector", "open sesame"]
    subprocess.run(made, check=True, capture_output=True)
    text = (ROOT / ".docker" / "mosquitto.conf").read_text(encoding="utf-8")
    for inside, here in {
        "/mosquitto/config/passwords": str(words), "/mosquitto/tls/plant.crt": str(certificate),
        "/mosquitto/tls/plant.key": str(key), "/mosquitto/data/": f"{tmp_path}/",
        "listener 1883": f"listener {free_port()} 127.0.0.1",
        "listener 8883": f"listener {free_port()} 127.0.0.1",
    }.items():  # fmt: skip
        assert inside in text
        text = text.replace(inside, here)
    settings = tmp_path / "mosquitto.conf"
    settings.write_text(text + "user root\n")
    with (tmp_path / "log").open("wb") as log:
        broker = subprocess.Popen([program("mosquitto"), "-c", str(settings)], stdout=log, stderr=log)
    try:
        time.sleep(1.0)
        assert broker.poll() is None, (tmp_path / "log").read_text()
    finally:
        broker.terminate()
        broker.wait(20)


@pytest.mark.parametrize("kind", ["opcua", "mqtt"])
def test_the_collectors_commands_exist(kind: str) -> None:
    command = re.search(rf"command: >-\n\s+(ringtell collect {kind}.*?)\n    \w+:", COMPOSE, re.S)
    assert command
    given = parser().parse_args(shlex.split(command[1])[1:])
    assert given.run == f"cli_collect.collect_{kind}"
    assert given.to == "http://server:8000"
    # The health check looks at what the collector writes beside its spool.
    assert f"find {given.spool.removesuffix('.db')}.alive" in COMPOSE
