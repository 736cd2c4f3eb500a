"""The built wheel, installed elsewhere, is a working `ringtell` in any folder."""

import subprocess
import sys
import sysconfig
import venv
import zipfile
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.processes import Served, run_command

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from the checkout with what is installed here, so that no network is needed."""
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    [built] = folder.glob("ringtell-*.whl")
    return built


@pytest.fixture(scope="module")
def ringtell(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command of a fresh environment that holds the wheel; its dependencies are lent from here."""
    home = tmp_path_factory.mktemp("elsewhere") / "env"
    venv.create(home, with_pip=False, symlinks=True)
    python = home / "bin" / "python"
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "--python",
            str(python),
            "install",
            "--no-deps",
            "--no-index",
            str(wheel),
        ],
        capture_output=True,
        check=True,
    )
    [packages] = home.glob("lib/python*/site-packages")
    # Behind the environment's own packages, and without this one's .pth files: `server` is the wheel's.
    (packages / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return home / "bin" / "ringtell"


@pytest.fixture
def demo(ringtell: Path, tmp_path: Path) -> Iterator[Served]:
    server = Served(
        "demo", "--no-live", "--no-login", "--data", str(tmp_path / "plant"),
        folder=tmp_path, settings={}, program=(str(ringtell),),
    )  # fmt: skip
    server.start()
    yield server
    server.kill()


def test_the_wheel_carries_the_outer_folders_and_no_tests(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    for folder in ("web", "shared", "migrations", "demo_data"):
        files = {
            file.relative_to(ROOT).as_posix()
            for file in (ROOT / folder).rglob("*")
            if file.is_file() and "__pycache__" not in file.parts
        }
        carried = {
            name.removeprefix("server/_outside/") for name in names if name.startswith("server/_outside/")
        }
        assert files <= carried
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {"server"}


def test_help_names_every_command(ringtell: Path, tmp_path: Path) -> None:
    said = run_command("--help", folder=tmp_path, settings={}, program=(str(ringtell),))
    for command in ("demo", "serve", "db", "import", "simulate", "evaluate", "key", "user"):
        assert f"\n    {command} " in said


def test_what_runs_is_the_wheel_and_not_the_checkout(ringtell: Path, tmp_path: Path) -> None:
    python = ringtell.with_name("python")
    code = "import server.settings as s; print(s.__file__, s.outside('web'))"
    said = run_command("-c", code, folder=tmp_path, settings={}, program=(str(python),))
    assert str(ROOT) not in said
    assert str(ringtell.parents[1]) in said


def test_it_serves_from_any_folder(demo: Served) -> None:
    assert httpx.get(f"{demo.address}/healthz").status_code == 200
    page = httpx.get(f"{demo.address}/")
    assert page.status_code == 200
    presses = {one["press"] for one in httpx.get(f"{demo.address}/api/v1/presses").json()["items"]}
    assert len(presses) >= 12
    assert all(press in page.text for press in presses)
    shot = {"counter": 1, "at": "2026-04-01T06:00:00Z", "shot_size_mm": 80.0, "cushion_mm": 6.1}
    answer = httpx.post(
        f"{demo.address}/api/v1/shots", json={"press": "P77", "mold": "M-113", "shots": [shot]}
    )
    assert answer.json()["stored"] == 1
