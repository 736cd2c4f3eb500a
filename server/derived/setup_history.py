"""The set-ups of a press: what it ran with, when, which startup record judges it, what was entered."""

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.store.plant import Press, Setup, setups_of
from server.store.records import Baseline, Event, baselines_of, newest_events
from server.store.setups import SetpointEntry, SetupDays, days_of_setups, entries_of

#: Changes of settings looked at; the older ones are among the press's events.
_CHANGES: Final = 200


@dataclasses.dataclass(frozen=True)
class SetupRun:
    """One set-up of a press: the same mold, material, name and set-points.

    days: None before its shots are judged; record: the approved one that judges its shots now, None without;
    entered: set-points entered for it, the newest first.
    """

    setup: Setup
    setpoints: Mapping[str, Any]
    days: SetupDays | None
    record: Baseline | None
    entered: SetpointEntry | None


@dataclasses.dataclass(frozen=True)
class SetupHistory:
    """runs: the one that ran last first. changes: recorded changes of settings, the newest first."""

    runs: tuple[SetupRun, ...]
    entries: tuple[SetpointEntry, ...]
    changes: tuple[Event, ...]


def setup_history(connection: sa.Connection, press: Press) -> SetupHistory:
    """Everything known of what a press was set to."""
    known = setups_of(connection, press.press_id)
    days = {one.setup_id: one for one in days_of_setups(connection, press.press_id)}
    approved = baselines_of(connection, press.press_id, state="approved")
    entries = entries_of(connection, press.press_id)
    order = sorted(known.values(), key=lambda one: _newest_first(one, days.get(one.setup_id)))
    runs = [
        SetupRun(
            setup=one,
            setpoints=json.loads(one.setpoints or "{}"),
            days=days.get(one.setup_id),
            record=record_for(approved, one),
            entered=next((entry for entry in entries if _is_of(entry, one)), None),
        )
        for one in order
    ]
    changes = newest_events(connection, press.press_id, kind="setting", limit=_CHANGES)
    return SetupHistory(tuple(runs), tuple(entries), tuple(changes))


def _newest_first(setup: Setup, days: SetupDays | None) -> tuple[int, int, int]:
    return (-(days.last_day_ms if days else setup.first_seen_ms), -setup.first_seen_ms, setup.setup_id)


def _is_of(entry: SetpointEntry, setup: Setup) -> bool:
    return (entry.mold, entry.material) == (setup.mold, setup.material) and entry.setup in ("", setup.setup)


def record_for(approved: Sequence[Baseline], setup: Setup) -> Baseline | None:
    """The approved record that judges shots of a set-up: the newest of this very one before one for all.

    approved: in the order in which they come into force, as `store.records.baselines_of` gives them. The
    same choice as `evaluate.context.Context.watch_numbers`.
    """
    fits = [
        one
        for one in reversed(approved)
        if (one.mold, one.material) == (setup.mold, setup.material) and one.setup in (None, setup.setup)
    ]
    return next((one for one in fits if one.setup is not None), fits[0] if fits else None)


def run_item(run: SetupRun, *, when: Any) -> dict[str, Any]:
    """A set-up as the API writes it; `when` turns milliseconds into text."""
    days = run.days
    return {
        "mold": run.setup.mold,
        "material": run.setup.material,
        "setup": run.setup.setup,
        "setpoints": dict(run.setpoints),
        "first_day": when(days.first_day_ms)[:10] if days else None,
        "last_day": when(days.last_day_ms)[:10] if days else None,
        "shots": days.shots if days else 0,
        "baseline": None if run.record is None else run.record.baseline_no,
        "entered": None if run.entered is None else entry_item(run.entered, when=when),
    }


def entry_item(entry: SetpointEntry, *, when: Any) -> dict[str, Any]:
    """Entered set-points as the API writes them."""
    return {
        "id": entry.entry_no,
        "mold": entry.mold,
        "material": entry.material,
        "setup": entry.setup,
        "setpoints": dict(entry.setpoints),
        "at": when(entry.at_ms),
        "note": entry.note,
        "author": entry.author,
        "entered_at": when(entry.entered_ms),
    }
