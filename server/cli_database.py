"""What `ringtell db …` does: the schema, checks, backups, thinning, what was set aside."""

import argparse
import json
import time
from pathlib import Path

from server.care import check, open_store
from server.clock import as_text, now_ms
from server.errors import RingtellError
from server.ingest.replay import take_back
from server.say import say
from server.settings import Settings
from server.store import backup as backups
from server.store import engine, poison
from server.store.database import Store
from server.store.months import drop_thinned
from server.store.plant import all_presses
from server.store.trail import check_anchors, check_trail
from server.thin import cutoff_of, fine_cutoff_of, looked_at, thin_press
from server.thin_fine import fine_looked_at, thin_fine


def db_upgrade(_given: argparse.Namespace) -> None:
    engine.upgrade(Settings.from_environment().direct_url)
    say("the schema is that of this version")


def db_check(given: argparse.Namespace) -> None:
    """What the file itself, its references, summaries and checkpoints say; exit code 1 when one is wrong."""
    with open_store(Settings.from_environment().database_url, upgraded=True) as store:
        report = check(store, sample=given.sample)
        trail, broken = _trail(store, given.anchors)
    say(trail)
    for line in report.lines:
        say(line)
    if report.faults or broken:
        raise RingtellError("; ".join((*report.faults, *broken)))
    say("nothing amiss")


def _trail(store: Store, anchors: str | None) -> tuple[str, list[str]]:
    """How the audit trail stands, in a line, and what is wrong with it."""
    document = json.loads(Path(anchors).read_text(encoding="utf-8")) if anchors else None
    with store.read() as connection:
        found = check_trail(connection)
        faults = list(found.faults)
        if document is not None:
            faults += check_anchors(connection, document)
    told = f"audit trail: {found.rows:,} sealed rows in {found.chains} chains"
    if found.unsealed:
        told += f", {found.unsealed:,} rows not sealed (see RINGTELL_AUDIT_KEY)"
    return told, [str(fault) for fault in faults]


def db_backup(given: argparse.Namespace) -> None:
    target = Path(given.file)
    sheet = backups.backup(Settings.from_environment().database_url, target, made_at=as_text(now_ms()))
    shots, rows = sheet.rows.get("shots", 0), sum(sheet.rows.values())
    say(f"backed up to {target}: {shots:,} shots, {rows:,} rows in all")
    say(f"what it must hold stands in {backups.sheet_file(target)}; keep the two together")


def db_restore(given: argparse.Namespace) -> None:
    """A backup in place of what is there, verified by its counts, then checked."""
    settings = Settings.from_environment()
    rows, confirmed = backups.restore(settings.database_url, Path(given.file), replace=given.replace)
    say(f"restored {rows.get('shots', 0):,} shots, {sum(rows.values()):,} rows in all")
    say(
        "every count is that of the sheet made with the backup"
        if confirmed
        else "no counts sheet stands beside the backup: the counts are those of the file itself"
    )
    with open_store(settings.database_url, upgraded=True) as store:
        report = check(store, sample=1)
        trail, broken = _trail(store, None)
    say(trail)
    if faults := [*report.faults, *broken]:
        raise RingtellError(f"restored, but: {'; '.join(faults)}")


def db_thin(given: argparse.Namespace) -> None:
    """Counts of what would go; without --dry-run it goes, in batches of milliseconds."""
    with open_store(Settings.from_environment().database_url, upgraded=True) as store:
        at_ms = now_ms()
        cutoff_ms = cutoff_of(store, given.months, now_ms=at_ms)
        say("kept: summaries, scores, findings, alarms, records; raw shots of startup records, of leak and")
        say("bottoming alarms, and of the day before each study")
        total = 0
        for going in list(looked_at(store, cutoff_ms=cutoff_ms)):
            if going.floor_ms is None:
                say(f"{going.press.press}: nothing to thin, {going.stays:,} raw shots")
                continue
            total += going.goes
            floor = as_text(going.floor_ms)
            say(f"{going.press.press}: {going.goes:,} go before {floor}, {going.stays:,} stay")
            if not given.dry_run:
                thin_press(
                    store, going.press, cutoff_ms=cutoff_ms, who="command line", now_ms=at_ms,
                    pause=lambda: time.sleep(0.02),
                )  # fmt: skip
        if not given.dry_run:
            for name in drop_thinned(store, cutoff_ms=cutoff_ms):
                say(f"{name}: the month is thinned out; detached and dropped, what stays lies in shots_other")
        _thin_fine(store, given, at_ms)
    say(f"{total:,} raw shots {'would go; nothing was changed' if given.dry_run else 'are gone'}")


def _thin_fine(store: Store, given: argparse.Namespace, at_ms: int) -> None:
    """Ten-minute summaries, where somebody asked for it or the plant has set it."""
    cutoff_ms = fine_cutoff_of(store, given.fine_months, now_ms=at_ms)
    if cutoff_ms is None:
        return
    with store.read() as connection:
        presses = all_presses(connection)
    if given.dry_run:
        count = fine_looked_at(store, presses, cutoff_ms=cutoff_ms)
        say(f"{count:,} ten-minute summaries would go as raw shots stand now; hours and days stay")
        return
    gone = thin_fine(
        store, presses, cutoff_ms=cutoff_ms, who="command line", now_ms=at_ms, pause=lambda: time.sleep(0.02)
    )
    for name in gone.months:
        say(f"{name}: its ten minutes are gone as a whole; what stays is a partition of hours and days")
    say(f"{gone.rows:,} ten-minute summaries are gone; hours and days stay")


def db_take_back(given: argparse.Namespace) -> None:
    """Shots evaluation failed with, tried again after the fault was mended."""
    with open_store(Settings.from_environment().database_url, upgraded=True) as store:
        at_ms = now_ms()
        received = store.write(
            lambda connection: take_back(
                connection, given.press, kind=poison.KIND, who="command line", now_ms=at_ms
            )
        )
    again = len(received.rejected)
    say(f"{received.stored:,} stored, {received.duplicate:,} were there, {again:,} kept apart again")
