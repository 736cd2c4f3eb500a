"""A watched folder: units, half-written lines, rotation, truncation, kills; nothing lost, nothing doubled."""

import json
import os
import random
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.collect.folder import FolderWatch, watch_folder
from server.collect.report_files import FolderOptions
from server.collect.spool import Spool, SpoolFullError

HEADER = b"DATE,TIME,ActCntCyc,ActStrCsh[1],ActStrPlst[1],\r\nActTmpBrlZn[1,1],ActTmpBrlZn[1,2]\r\n"
GETID = 'ActStrCsh[1],N,8,2,0,"in","cushion";\nActTmpBrlZn[1,1],N,5,1,0,"F","zone";\n'
OPTIONS = FolderOptions("P07", mold="M-1", time_zone="Europe/Berlin")


def record(counter: int, cushion: str = "6.02") -> bytes:
    clock = f"{6 + counter // 180:02}:{counter // 3 % 60:02}:{counter % 3 * 20:02}"
    return f"20260401,{clock},{counter},{cushion},80.5,200.0,210.0\r\n".encode()


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    opened = Spool(tmp_path / "spool.db")
    yield opened
    opened.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "press"
    made.mkdir()
    return made


def kept(spool: Spool) -> list[dict[str, Any]]:
    return [json.loads(one.line) for one in spool.oldest(100_000)]


def counters(spool: Spool) -> list[int]:
    return [shot["counter"] for shot in kept(spool)]


def look(folder: Path, spool: Spool, options: FolderOptions = OPTIONS) -> FolderWatch:
    """Once over the folder, as a collector that was just started."""
    watch = FolderWatch(folder, options=options, spool=spool)
    watch.look()
    return watch


def test_a_report_gives_shots_in_the_units_of_its_getid_file(folder: Path, spool: Spool) -> None:
    (folder / "GETID.DAT").write_text(GETID)
    (folder / "shots.dat").write_bytes(HEADER + record(1, "0.25"))
    look(folder, spool)
    (shot,) = kept(spool)
    assert shot["press"] == "P07"
    assert shot["mold"] == "M-1"
    assert shot["at"] == "2026-04-01T04:00:20.000Z"
    assert shot["cushion_mm"] == pytest.approx(6.35)
    assert shot["zone_temps_c"] == pytest.approx([93.333, 98.889], abs=1e-3)


def test_without_a_getid_file_the_units_taken_are_said(folder: Path, spool: Spool) -> None:
    (folder / "shots.dat").write_bytes(HEADER + record(1))
    watch = look(folder, spool)
    assert "no GETID file" in "".join(watch.counts.notes)
    assert kept(spool)[0]["cushion_mm"] == 6.02
    (folder / "other.dat").write_bytes(HEADER + record(2, "0.25"))
    look(folder, spool, FolderOptions("P07", time_zone="UTC", units={"length": "in"}))
    assert kept(spool)[-1]["cushion_mm"] == pytest.approx(6.35)


def test_a_half_written_line_waits_for_its_end(folder: Path, spool: Spool) -> None:
    file = folder / "shots.dat"
    whole = HEADER + b"".join(record(i) for i in range(1, 4))
    for size in range(len(whole) + 1):
        file.write_bytes(whole[:size])
        look(folder, spool)
    assert counters(spool) == [1, 2, 3]
    assert all(shot["zone_temps_c"] == [200.0, 210.0] for shot in kept(spool))


def test_what_is_added_is_read_and_what_was_read_is_not_read_again(folder: Path, spool: Spool) -> None:
    file = folder / "shots.dat"
    file.write_bytes(HEADER + record(1))
    watch = look(folder, spool)
    with file.open("ab") as growing:
        growing.write(record(2) + record(3))
    watch.look()
    look(folder, spool)
    assert counters(spool) == [1, 2, 3]


def test_a_renamed_file_goes_on_and_a_new_one_under_its_name_is_new(folder: Path, spool: Spool) -> None:
    file = folder / "shots.dat"
    file.write_bytes(HEADER + record(1) + record(2))
    watch = look(folder, spool)
    file.rename(folder / "shots.old.dat")
    with (folder / "shots.old.dat").open("ab") as growing:
        growing.write(record(3))
    file.write_bytes(HEADER + record(4))
    watch.look()
    watch.look()
    assert counters(spool) == [1, 2, 3, 4]


def test_a_copy_cut_off_afterwards_is_not_read_twice(folder: Path, spool: Spool) -> None:
    file = folder / "shots.dat"
    file.write_bytes(HEADER + record(1) + record(2))
    watch = look(folder, spool)
    (folder / "copy.dat").write_bytes(file.read_bytes())
    file.write_bytes(b"")
    watch.look()
    file.write_bytes(HEADER + record(3))
    watch.look()
    assert counters(spool) == [1, 2, 3]


def test_a_file_written_anew_with_the_same_beginning_is_read_from_its_start(
    folder: Path, spool: Spool
) -> None:
    file = folder / "shots.dat"
    file.write_bytes(HEADER + record(1) + record(2) + record(3))
    look(folder, spool)
    file.write_bytes(HEADER + record(1) + record(7))
    look(folder, spool)
    # The server knows shot 1 again by its key; 7 must not be missed.
    assert counters(spool) == [1, 2, 3, 1, 7]


def test_a_broken_line_is_kept_apart_once_with_its_reason(folder: Path, spool: Spool) -> None:
    (folder / "shots.dat").write_bytes(HEADER + record(1) + b"20260401,06:00\r\n" + record(2))
    look(folder, spool)
    look(folder, spool)
    assert counters(spool) == [1, 2]
    (apart,) = spool.apart()
    assert (apart.code, apart.raw) == ("bad_line", "20260401,06:00\r\n")
    assert "line 4 has 2 cells under 7 names" in apart.reason


def test_the_skipped_hour_is_kept_apart_and_the_repeated_one_follows_the_order(
    folder: Path, spool: Spool
) -> None:
    rows = ["20261025,02:59:40,1", "20261025,02:00:00,2", "20260329,02:30:00,3"]
    lines = "".join(f"{row},6,80,200,210\n" for row in rows)
    (folder / "shots.dat").write_bytes(HEADER + lines.encode())
    look(folder, spool)
    assert [shot["at"] for shot in kept(spool)] == ["2026-10-25T00:59:40.000Z", "2026-10-25T01:00:00.000Z"]
    assert spool.apart()[0].code == "no_such_time"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_table_dropped_there_is_read_by_the_names_of_its_columns(
    folder: Path, spool: Spool, encoding: str
) -> None:
    text = (
        "Protokoll Maschine 7\n"
        "Schuss;Datum;Uhrzeit;Massepolster [mm];Dosierweg [mm];Öltemperatur [°C];Zone 1;Zone 2;Charge\n"
        "1;13.04.2026;06:00:00;6,02;80,5;44,5;200;n/a;für\n"
        "2;13.04.2026;06:00:20;5,98;80,4;44,5;201;210;für\n"
    )
    (folder / "week.csv").write_bytes(text.encode(encoding))
    look(folder, spool)
    one, two = kept(spool)
    assert one["at"] == "2026-04-13T04:00:00.000Z"
    assert (one["cushion_mm"], two["cushion_mm"], one["oil_temp_c"]) == (6.02, 5.98, 44.5)
    assert (two["zone_temps_c"], one["zone_temps_c"], one["lot"]) == ([201, 210], [200], "für")


def test_two_files_under_the_same_header_are_two_files(folder: Path, spool: Spool) -> None:
    header = "Line 3\ncounter,at,cushion_mm,shot_size_mm,Zone 1,Zone 2\n"
    for week, first in (("one", 1), ("two", 3)):
        rows = "".join(f"{first + i},2026-04-0{first} 06:00:0{i},6,80,1,1\n" for i in range(2))
        (folder / f"{week}.csv").write_text(header + rows)
    look(folder, spool)
    look(folder, spool)
    assert sorted(counters(spool)) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("text", "options", "why"),
    [
        ("Cycle,Time,Size,Cushion\n1,2026-04-01 06:00,80,6\n", OPTIONS, "shot size"),
        ("counter,at,cushion_mm,shot_size_mm\n1,2026-04-01 06:00,6,80\n", FolderOptions("P07"), "time-zone"),
        ("counter,at,cushion_mm,shot_size_mm\n1,03/04/2026 06:00,6,80\n", OPTIONS, "date-order"),
        ("counter,at,cushion_mm,Einspritzvolumen\n1,2026-04-01 06:00,6,80\n", OPTIONS, "shot size"),
        ("a,b,c\n1,2,3\n", OPTIONS, "header"),
    ],
)
def test_a_table_that_is_not_clear_waits_and_says_why(
    folder: Path, spool: Spool, text: str, options: FolderOptions, why: str
) -> None:
    (folder / "week.csv").write_text(text)
    watch = look(folder, spool, options)
    assert why in watch.counts.troubles["week.csv"]
    assert kept(spool) == []


def test_a_mapping_clears_what_is_not_clear(folder: Path, spool: Spool) -> None:
    (folder / "week.csv").write_text("Cycle,Time,Size,Cushion\n1,03/04/2026 06:00,80,6\n")
    options = FolderOptions(
        "P07",
        time_zone="UTC",
        date_order="day_first",
        mapping={"Size": "shot_size_mm"},
        units={"length": "cm"},
    )
    assert not look(folder, spool, options).counts.troubles
    (shot,) = kept(spool)
    assert (shot["at"], shot["shot_size_mm"]) == ("2026-04-03T06:00:00.000Z", 800)


def test_the_files_are_opened_for_reading_only(folder: Path, spool: Spool) -> None:
    file = folder / "shots.dat"
    file.write_bytes(HEADER + record(1))
    file.chmod(0o444)
    folder.chmod(0o555)
    before = file.read_bytes()
    try:
        look(folder, spool)
    finally:
        folder.chmod(0o755)
    assert (file.read_bytes(), os.listdir(folder)) == (before, ["shots.dat"])
    assert counters(spool) == [1]


def test_a_full_spool_stops_the_reading_and_loses_nothing(folder: Path, tmp_path: Path) -> None:
    (folder / "shots.dat").write_bytes(HEADER + b"".join(record(i) for i in range(1, 6)))
    small = Spool(tmp_path / "small.db", most_shots=3)
    with pytest.raises(SpoolFullError):
        look(folder, small)
    small.most_shots = 10
    look(folder, small)
    assert counters(small) == [1, 2, 3, 4, 5]
    small.close()


class _Killed(BaseException):
    """The process ends here."""


class _Mortal:
    """A spool whose process may end before or after each of its transactions."""

    def __init__(self, spool: Spool, chance: random.Random) -> None:
        self.spool = spool
        self.chance = chance

    def mark(self, name: str) -> str | None:
        return self.spool.mark(name)

    def append(self, *given: Any, **named: Any) -> None:
        self._do(self.spool.append, given, named)

    def keep_apart(self, *given: Any, **named: Any) -> None:
        self._do(self.spool.keep_apart, given, named)

    def _do(self, act: Any, given: Any, named: Any) -> None:
        fate = self.chance.random()
        if fate < 0.25:
            raise _Killed
        act(*given, **named)
        if fate > 0.75:
            raise _Killed


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_kills_growth_and_rotation_lose_nothing_and_double_nothing(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    chance = random.Random(seed)
    place = tmp_path_factory.mktemp("kills")
    folder = place / "press"
    folder.mkdir()
    spool = Spool(place / "spool.db")
    file, number, lines = folder / "shots.dat", 0, 0
    file.write_bytes(HEADER)
    for _ in range(40):
        for _ in range(chance.randrange(4)):
            number += 1
            with file.open("ab") as growing:
                wrong = b"7,bad%d\r\n" % number  # no two files alike: those would be one and its copy
                # A first line that is no record may be the rest of a wrapped header: nobody can tell.
                later = growing.tell() > len(HEADER)
                growing.write(wrong if chance.random() < 0.1 and later else record(number))
            lines += 1
        if chance.random() < 0.1 and number and file.stat().st_size > len(HEADER):
            file.rename(folder / f"shots.{number}.dat")
            file.write_bytes(HEADER)
        try:
            FolderWatch(folder, options=OPTIONS, spool=_Mortal(spool, chance)).look()
        except _Killed:
            continue
    look(folder, spool)
    found = counters(spool)
    spool_apart = len(spool.apart(1000))
    spool.close()
    assert len(found) == len(set(found))
    assert found == sorted(found)
    assert len(found) + spool_apart == lines


def test_watching_goes_on_until_it_is_stopped(folder: Path, spool: Spool) -> None:
    (folder / "shots.dat").write_bytes(HEADER + record(1))
    stop = threading.Event()
    thread = threading.Thread(
        target=watch_folder,
        args=(folder,),
        kwargs={"options": OPTIONS, "spool": spool, "stop": stop, "every_s": 0.02},
    )
    thread.start()
    assert spool.arrived.wait(10)
    spool.arrived.clear()
    with (folder / "shots.dat").open("ab") as growing:
        growing.write(record(2))
    assert spool.arrived.wait(10)
    stop.set()
    thread.join(10)
    assert counters(spool) == [1, 2]


def test_a_folder_that_is_not_there_is_said_at_once(tmp_path: Path, spool: Spool) -> None:
    with pytest.raises(FileNotFoundError, match="no such folder"):
        watch_folder(tmp_path / "gone", options=OPTIONS, spool=spool, stop=threading.Event())


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.binary(max_size=300) | st.text(max_size=200).map(str.encode),
    name=st.sampled_from(["a.dat", "a.csv"]),
)
def test_any_bytes_wait_with_a_reason_or_give_shots(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, name: str
) -> None:
    place = tmp_path_factory.mktemp("any")
    (place / name).write_bytes(content if name.endswith("csv") else HEADER + content + b"\n" + record(1))
    spool = Spool(place / "spool.db")
    look(place, spool)
    assert all(shot["press"] == "P07" for shot in kept(spool))
    spool.close()


TABLE_OPTIONS = FolderOptions("P07", mold="M-1", time_zone="UTC")


def table_line(counter: int, lot: str) -> bytes:
    return f"{counter},2026-04-01 06:{counter:02}:00,80.5,6.02,{lot}\n".encode()


def test_a_quoted_cell_may_run_over_lines_and_its_half_waits(folder: Path, spool: Spool) -> None:
    header = b'Counter,"Date and\ntime",Shot size [mm],"Cushion\n[mm]",Lot\n'
    body = table_line(1, '"L-1\ncold, start"') + table_line(2, "L-2") + table_line(3, '"L-3')
    (folder / "a.csv").write_bytes(header + body)
    look(folder, spool, TABLE_OPTIONS)
    assert [(shot["counter"], shot["lot"]) for shot in kept(spool)] == [(1, "L-1\ncold, start"), (2, "L-2")]
    with (folder / "a.csv").open("ab") as file:
        file.write(b'its end"\n' + table_line(4, "L-4"))
    look(folder, spool, TABLE_OPTIONS)
    assert [(shot["counter"], shot["lot"]) for shot in kept(spool)[2:]] == [(3, "L-3\nits end"), (4, "L-4")]


def test_a_quote_nobody_closes_swallows_nothing(folder: Path, spool: Spool) -> None:
    header = b"Counter,Date and time,Shot size [mm],Cushion [mm],Lot\n"
    body = b"".join(table_line(n, '5" plate' if n == 2 else '"open' if n == 3 else "L") for n in range(1, 59))
    (folder / "a.csv").write_bytes(header + body)
    watch = look(folder, spool, TABLE_OPTIONS)
    assert len(kept(spool)) + watch.counts.apart == 58
    assert set(range(1, 59)) - set(counters(spool)) <= {3}
