"""docker-compose.yml: valid by the published schema, nobody root, nothing writable that need not be."""

import shlex
import subprocess
import sys
from typing import Any

import pytest
import yaml

from server.cli import parser
from tests.architecture.modules import ROOT

FILE = ROOT / "docker-compose.yml"
DOCUMENT: dict[str, Any] = yaml.safe_load(FILE.read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = DOCUMENT["services"]
OURS = [name for name, service in SERVICES.items() if "build" in service]


def test_it_is_valid_by_the_compose_schema() -> None:
    pytest.importorskip("check_jsonschema", reason="the schema comes with check-jsonschema")
    done = subprocess.run(
        [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(FILE)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_hardened_and_looked_after(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["restart"] == "unless-stopped"
    assert "privileged" not in service
    assert service["healthcheck"]["test"]


@pytest.mark.parametrize("name", SERVICES)
def test_no_service_runs_as_root(name: str) -> None:
    service = SERVICES[name]
    if name in OURS:
        lines = (ROOT / service["build"]["dockerfile"]).read_text(encoding="utf-8").splitlines()
        assert [line for line in lines if line.startswith("USER ")] == ["USER ringtell"]
    else:
        assert int(service["user"].split(":")[0]) > 0


def test_only_the_proxy_and_the_broker_are_reached_from_outside() -> None:
    assert {name for name, service in SERVICES.items() if "ports" in service} == {"proxy", "broker"}


def test_what_is_mounted_from_here_cannot_be_written() -> None:
    mounts = [mount for service in SERVICES.values() for mount in service.get("volumes", [])]
    assert mounts
    for mount in mounts:
        source = mount.split(":")[0]
        assert mount.endswith(":ro") if source.startswith(".") else source in DOCUMENT["volumes"], mount


def test_no_secret_stands_in_it() -> None:
    for service in SERVICES.values():
        for name, value in service.get("environment", {}).items():
            if name.endswith(("PASSWORD", "KEY", "SECRET")):
                assert value.startswith("${"), name


def test_services_wait_for_what_they_need_until_it_works() -> None:
    for name, service in SERVICES.items():
        for other, how in service.get("depends_on", {}).items():
            assert how["condition"] == "service_healthy", (name, other)
            assert other in SERVICES
            # What has no profile must not need what only a profile starts.
            assert set(SERVICES[other].get("profiles", [])) <= set(service.get("profiles", []))


def test_the_scaled_profile_adds_servers_behind_a_pooler_that_keeps_nothing_in_sessions() -> None:
    more, pooler = SERVICES["server-more"], SERVICES["pooler"]
    assert more["profiles"] == pooler["profiles"] == ["scaled"]
    assert more["deploy"]["replicas"] >= 2
    assert more["networks"]["default"]["aliases"] == ["server"]
    assert pooler["environment"]["POOL_MODE"] == "transaction"
    address = more["environment"]["RINGTELL_DATABASE_URL"]
    assert "@pooler:6432/" in address
    assert address.endswith("?prepared=off")
    assert "@database/" in more["environment"]["RINGTELL_DATABASE_DIRECT_URL"]
    # All servers seal the same trail and find the same files.
    for name in ("RINGTELL_AUDIT_KEY", "RINGTELL_IMPORT_FOLDER"):
        assert more["environment"][name] == SERVICES["server"]["environment"][name]
    assert more["volumes"] == SERVICES["server"]["volumes"]


def test_commands_of_our_own_exist() -> None:
    for name in OURS:
        command = SERVICES[name].get("command")
        if command is not None:
            assert parser().parse_args(shlex.split(command)[1:]).run


def test_the_backup_says_when_it_has_not_been_made() -> None:
    backup = SERVICES["backup"]
    script = backup["command"][2]
    assert "pg_dump --format=custom" in script
    assert script.index("pg_dump") < script.index("mv ") < script.index(".done")
    assert ".done" in backup["healthcheck"]["test"][1]
    done = subprocess.run(["sh", "-n", "-c", script.replace("$$", "$")], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
