"""The spool keeps order, keeps what is refused, and never drops to make room."""

from pathlib import Path

import pytest

from server.collect.spool import Spool, SpoolFullError, SpoolUnusableError
from tests.collect.shots import a_shot, counters


def test_shots_come_out_in_the_order_they_went_in(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool.db")
    spool.append([a_shot(1), a_shot(2, press="P08")])
    spool.append([a_shot(3)])
    assert counters(spool.oldest(10)) == [1, 2, 3]
    assert [one.press for one in spool.oldest(10)] == ["P07", "P08", "P07"]
    spool.close()


def test_what_is_not_acknowledged_is_there_after_opening_again(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool.db")
    spool.append([a_shot(1), a_shot(2), a_shot(3)], marks={"week.dat": "312"})
    spool.acknowledge(spool.oldest(1))
    spool.close()
    again = Spool(tmp_path / "spool.db")
    assert counters(again.oldest(10)) == [2, 3]
    assert again.state().waiting == 2
    assert again.mark("week.dat") == "312"
    assert again.mark("other.dat") is None
    again.close()


def test_a_full_spool_refuses_loudly_and_keeps_nothing_of_the_call(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    spool = Spool(tmp_path / "spool.db", most_shots=3)
    spool.append([a_shot(1), a_shot(2), a_shot(3)])
    assert "SPOOL FILLING" in caplog.text
    with pytest.raises(SpoolFullError, match="2 more are refused"):
        spool.append([a_shot(4), a_shot(5)], marks={"week.dat": "9"})
    assert counters(spool.oldest(10)) == [1, 2, 3]
    assert spool.mark("week.dat") is None
    spool.close()
    again = Spool(tmp_path / "spool.db", most_shots=3)
    assert again.state().refused == 2
    again.acknowledge(again.oldest(2))
    again.append([a_shot(4), a_shot(5)])
    assert counters(again.oldest(10)) == [3, 4, 5]
    again.close()


def test_refused_lines_are_kept_with_their_reason_and_can_be_tried_again(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool.db")
    spool.append([a_shot(1), a_shot(2)])
    spool.refuse(spool.oldest(1), code="forbidden", reason="this key is for press 'P08'")
    spool.keep_apart("P07", "not { json", code="bad_payload", reason="no JSON at column 1")
    assert counters(spool.oldest(10)) == [2]
    newest, older = spool.apart()
    assert (newest.raw, newest.sendable, newest.reason) == ("not { json", 0, "no JSON at column 1")
    assert (older.code, older.sendable) == ("forbidden", 1)
    assert spool.retry_apart() == 1
    assert counters(spool.oldest(10)) == [2, 1]
    assert [one.raw for one in spool.apart()] == ["not { json"]
    spool.close()


def test_a_second_collector_on_the_same_file_is_told_so(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool.db")
    with pytest.raises(SpoolUnusableError, match="another collector"):
        Spool(tmp_path / "spool.db")
    spool.close()


def test_a_file_that_is_no_spool_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "spool.db"
    file.write_bytes(b"these are my notes, not a database at all" * 100)
    before = file.read_bytes()
    with pytest.raises(SpoolUnusableError):
        Spool(file)
    assert file.read_bytes() == before
