"""The audit trail is sealed: an edit, a gap, a cut-off end and a second writer's fork show."""

import stat
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from server.errors import InvalidError, RingtellError
from server.store.audit import PLANT, add_audit, audit_of, find_audit, seal_earlier
from server.store.database import Store
from server.store.seals import add_key, key_file_of, ring_from, ring_of
from server.store.tables import audit, audit_heads
from server.store.trail import check_anchors, check_trail, make_anchors

NOW = 1_775_023_200_000


@pytest.fixture(autouse=True)
def _no_key_from_outside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("RINGTELL_AUDIT_KEY", raising=False)
    monkeypatch.setenv("RINGTELL_AUDIT_KEY_FILE", str(tmp_path / "kept-elsewhere"))


def act(press_id: int = PLANT, number: int = 0) -> Callable[[sa.Connection], None]:
    return lambda connection: add_audit(
        connection, press_id, now_ms=NOW + number, who="mara", action="limit_changed",
        subject=f"limit {number}", before={"upper": 1.0}, after={"upper": 1.0 + number},
    )  # fmt: skip


def with_rows(store: Store, *, press_id: int = PLANT, count: int = 5) -> None:
    for number in range(count):
        store.write(act(press_id, number))


def faults(store: Store) -> list[str]:
    with store.read() as connection:
        return [str(fault) for fault in check_trail(connection).faults]


def meddle(store: Store, statement: sa.Executable) -> None:
    store.write(lambda connection: connection.execute(statement))


def test_an_untouched_trail_is_whole_and_numbered_without_gaps(any_store: Store) -> None:
    with_rows(any_store)
    with_rows(any_store, press_id=7, count=3)
    with any_store.read() as connection:
        found = check_trail(connection)
        assert (found.chains, found.rows, found.unsealed, found.faults) == (2, 8, 0, ())
        assert [row.seq for row in audit_of(connection, PLANT)] == [5, 4, 3, 2, 1]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("who", "nobody"),
        ("at_ms", 1),
        ("after", '{"upper": 9.0}'),
        ("before", None),
        ("subject", "x"),
        ("action", "y"),
    ],
)
def test_an_edited_row_is_named(store: Store, column: str, value: object) -> None:
    with_rows(store)
    meddle(store, sa.update(audit).where(audit.c.seq == 3).values({column: value}))
    (fault,) = faults(store)
    assert "the plant, place 3" in fault
    assert "does not fit its seal" in fault


def test_a_row_taken_out_shows_as_a_gap(any_store: Store) -> None:
    with_rows(any_store)
    meddle(any_store, sa.delete(audit).where(audit.c.seq == 3))
    (fault,) = faults(any_store)
    assert "place 3, row" in fault
    assert "missing; the next one found is place 4" in fault


def test_numbering_anew_after_a_deletion_does_not_help(store: Store) -> None:
    with_rows(store)
    meddle(store, sa.delete(audit).where(audit.c.seq == 3))
    for seq in (4, 5):
        meddle(store, sa.update(audit).where(audit.c.seq == seq).values(seq=seq - 1))
    meddle(store, sa.update(audit_heads).values(seq=4))
    (fault,) = faults(store)
    assert "place 3" in fault


def test_a_row_slipped_in_without_a_seal_is_named(store: Store) -> None:
    with_rows(store)
    row = {"press_id": 0, "audit_no": 5, "at_ms": NOW, "who": "x", "action": "y", "subject": "z"}
    meddle(store, sa.insert(audit).values(**row))
    (fault,) = faults(store)
    assert "row 5" in fault
    assert "slipped in" in fault


def test_a_row_of_one_chain_fits_into_no_other(store: Store) -> None:
    with_rows(store, count=2)
    with_rows(store, press_id=7, count=2)
    meddle(store, sa.delete(audit).where(audit.c.press_id == 7, audit.c.seq == 2))
    meddle(store, sa.update(audit).where(audit.c.press_id == 0, audit.c.seq == 2).values(press_id=7))
    assert any("no. 7, place 2" in fault for fault in faults(store))


def test_a_cut_off_end_shows_against_the_head_and_against_anchors(any_store: Store) -> None:
    with_rows(any_store)
    with any_store.read() as connection:
        anchors = make_anchors(connection, now_ms=NOW)
        assert check_anchors(connection, anchors) == []
        third = connection.execute(sa.select(audit).where(audit.c.seq == 3)).one()
    meddle(any_store, sa.delete(audit).where(audit.c.seq > 3))
    assert "head says place 5" in faults(any_store)[0]
    # Someone who can write to the database sets the head back as well: only the anchors know.
    meddle(any_store, sa.update(audit_heads).values(seq=3, seal=third.seal))
    assert faults(any_store) == []
    with any_store.read() as connection:
        (fault,) = check_anchors(connection, anchors)
        assert "cut off" in fault.reason
    with_rows(any_store, count=3)
    with any_store.read() as connection:
        (fault,) = check_anchors(connection, anchors)
        assert "written anew" in fault.reason


def test_anchors_that_were_changed_are_refused(store: Store) -> None:
    with_rows(store)
    with store.read() as connection:
        anchors = make_anchors(connection, now_ms=NOW)
        anchors["chains"][0]["seq"] = 4
        with pytest.raises(InvalidError, match="the file was changed"):
            check_anchors(connection, anchors)
        with pytest.raises(InvalidError, match="no anchors"):
            check_anchors(connection, [])


def test_the_key_is_in_a_file_of_its_owner_and_not_in_the_database(store: Store, tmp_path: Path) -> None:
    with_rows(store)
    file = tmp_path / "kept-elsewhere"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    secret = file.read_text().strip()
    store.close()
    assert secret.encode() not in (tmp_path / "plant.db").read_bytes()
    assert secret not in repr(ring_of(store.engine.url, make=False))


def test_without_the_key_nothing_can_be_said_and_nothing_is_added(
    any_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with_rows(any_store)
    file = tmp_path / "kept-elsewhere"
    file.rename(tmp_path / "lost")
    assert "not at hand" in faults(any_store)[0]
    if not any_store.is_sqlite:
        monkeypatch.delenv("RINGTELL_AUDIT_KEY_FILE")
        with pytest.raises(RingtellError, match="key is not at hand"):
            any_store.write(act())


def test_a_new_key_takes_over_in_the_chain_itself(any_store: Store, tmp_path: Path) -> None:
    with_rows(any_store, count=2)
    add_key(tmp_path / "kept-elsewhere")
    with_rows(any_store, count=2)
    assert faults(any_store) == []
    with any_store.read() as connection:
        newest = audit_of(connection, PLANT)
        keys = connection.execute(sa.select(audit.c.key_id).order_by(audit.c.seq)).scalars().all()
    change = next(row for row in newest if row.action == "audit_key_changed")
    assert (change.seq, change.after["handed_over"]) == (3, True)
    assert len(set(keys[:2])) == len(set(keys[2:])) == 1
    assert keys[0] != keys[2]
    assert change.after["key"] == keys[2]


def test_a_lost_key_is_said_in_the_chain_and_stops_no_work(store: Store, tmp_path: Path) -> None:
    with_rows(store, count=2)
    (tmp_path / "kept-elsewhere").unlink()
    with_rows(store, count=1)
    assert "which is not at hand" in faults(store)[0]
    with store.read() as connection:
        change = next(row for row in audit_of(connection, PLANT) if row.action == "audit_key_changed")
    assert change.after["handed_over"] is False


def test_rows_from_before_are_sealed_once_and_it_is_said(any_store: Store) -> None:
    for number in range(3):
        row = {"press_id": 7, "audit_no": number, "at_ms": NOW, "who": "a", "action": "b", "subject": "c"}
        meddle(any_store, sa.insert(audit).values(**row))
    assert any_store.write(seal_earlier) == 3
    assert any_store.write(seal_earlier) == 0
    assert faults(any_store) == []
    with any_store.read() as connection:
        (note,) = audit_of(connection, PLANT)
        assert (note.action, note.after["rows"]) == ("trail_sealed", 3)
        assert check_trail(connection).rows == 4


def test_writers_at_the_same_moment_never_fork_a_chain(any_store: Store) -> None:
    start = threading.Barrier(6)

    def write_some(worker: int) -> None:
        start.wait()
        for number in range(10):
            any_store.write(act(PLANT if number % 2 else 7, worker * 100 + number))

    threads = [threading.Thread(target=write_some, args=(worker,)) for worker in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with any_store.read() as connection:
        found = check_trail(connection)
        assert (found.rows, found.faults) == (60, ())


def test_a_refused_action_leaves_no_link(any_store: Store) -> None:
    with_rows(any_store, count=1)

    def fails(connection: sa.Connection) -> None:
        act(PLANT, 9)(connection)
        raise RingtellError("no")

    with pytest.raises(RingtellError):
        any_store.write(fails)
    with_rows(any_store, count=1)
    with any_store.read() as connection:
        assert check_trail(connection).rows == 2
    assert faults(any_store) == []


def test_a_database_copied_with_its_key_stays_verifiable(store: Store, tmp_path: Path) -> None:
    with_rows(store)
    with store.read() as connection:
        anchors = make_anchors(connection, now_ms=NOW)
    copy = tmp_path / "copy.db"
    target = sa.create_engine(f"sqlite:///{copy}").raw_connection()
    source = store.engine.raw_connection()
    source.driver_connection.backup(target.driver_connection)  # type: ignore[union-attr]  # of sqlite3
    target.close()
    source.close()
    restored = Store(f"sqlite:///{copy}")
    try:
        assert faults(restored) == []
        with restored.read() as connection:
            assert check_anchors(connection, anchors) == []
    finally:
        restored.close()


def test_finding_actions_pages_without_skipping(store: Store) -> None:
    with_rows(store, count=4)
    with_rows(store, press_id=7, count=4)
    with store.read() as connection:
        seen: list[tuple[int, int]] = []
        after = None
        while page := find_audit(connection, after=after, limit=3):
            seen += [(row.audit_no, row.press_id) for _, row in page]
            after = seen[-1]
        assert len(seen) == len(set(seen)) == 8
        assert seen == sorted(seen, reverse=True)
        assert len(find_audit(connection, press_id=7, who="mara", from_ms=NOW + 1, to_ms=NOW + 3)) == 2
        assert find_audit(connection, action="nothing") == []


def test_a_key_that_is_too_short_is_refused_without_being_shown() -> None:
    with pytest.raises(RingtellError, match="8 characters; at least 32") as told:
        ring_from(["guess me"], source="RINGTELL_AUDIT_KEY")
    assert "guess me" not in str(told.value)
    assert key_file_of(sa.make_url("postgresql://db/x"), {}) is None
    assert key_file_of(sa.make_url("sqlite:///a/b.db"), {}) == Path("a/b.db.audit-key")


def test_first_writers_at_the_same_moment_agree_on_one_key(tmp_path: Path) -> None:
    def asked_for(file: Path, start: threading.Barrier, found: list[str]) -> None:
        start.wait()
        ring = ring_of(
            sa.make_url("postgresql://db/plant"),
            make=True,
            environment={"RINGTELL_AUDIT_KEY_FILE": str(file)},
        )
        assert ring is not None
        found.append(" ".join(key.key_id for key in ring.keys))

    for number in range(40):
        file, start, found = tmp_path / f"key-{number}", threading.Barrier(8), list[str]()
        threads = [threading.Thread(target=asked_for, args=(file, start, found)) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(found) == 8
        assert len(set(found)) == 1
        assert " " not in found[0]
        assert len(list(tmp_path.glob(f"key-{number}*"))) == 1
