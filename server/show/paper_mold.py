"""The capability report of a mold: stability before capability, a lane a press, every number it rests on."""

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import sqlalchemy as sa

from server.clock import as_text
from server.derived.mold_limits import in_force
from server.language import _
from server.maths.capability import Capability, Index
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.show.build_mold import build_mold
from server.show.mold_judged import (
    PRODUCT,
    Assessed,
    Stretch,
    assess_press,
    demand_of,
    limits_of,
    setups_by_press,
)
from server.show.pages import LaneRow, SignalVerdict
from server.show.paper import Block, Paper
from server.show.plant_words import Plant
from server.store.page_queries import accepted_presses
from server.store.plant import mold_by_code


def capability_paper(
    connection: sa.Connection, plant: Plant, *, mold: str, from_ms: int, to_ms: int
) -> Paper | None:
    """None: no such mold. The newest 20,000 shots a press of the stretch (`to_ms` exclusive)."""
    asked = Stretch(from_ms, to_ms)
    page = build_mold(connection, plant, mold=mold, stretch=asked)
    if page is None:
        return None
    basis = _basis(connection, mold, asked)
    version = basis["limits_version"]
    shots = sum(one["n"] for signals in basis["presses"].values() for one in signals.values())
    return Paper(
        title=_("Capability of mold {mold}", mold=mold) + (f", {page.part}" if page.part else ""),
        answer=page.answer,
        under=page.under,
        blocks=(
            *(_signal(signal) for signal in page.signals),
            *([Block(_("Does one press stand out?"), page.odd)] if page.odd else ()),
            Block(_("Process consistency"), (page.consistency,)),
            Block(_("How sure are these numbers?"), (page.sureness,)),
            *([_versions(page.history)] if page.history else ()),
        ),
        basis=basis,
        identity=(
            (_("Values"), f"{shots:,}".replace(",", " ")),
            (_("From"), plant.zone.iso(from_ms)),
            (_("To"), plant.zone.iso(to_ms)),
            (
                _("Limits"),
                _("version {version}", version=version) if version else _("as entered, without a version"),
            ),
        ),
    )


def _signal(signal: SignalVerdict) -> Block:
    pictures = [(_lane_words(row), row.lane) for row in signal.lanes if row.lane is not None]
    if pictures and signal.ruler is not None:
        pictures.append((_("Ruler in {unit}", unit=signal.unit), signal.ruler))
    pictures += [
        (_("Distribution on {press}", press=row.press), row.histogram)
        for row in signal.lanes
        if row.histogram is not None
    ]
    names = list(dict.fromkeys(fact.name for row in signal.lanes for fact in row.facts))
    presses = [row for row in signal.lanes if row.facts]
    cells = {row.press: {fact.name: fact.value for fact in row.facts} for row in presses}
    said = []
    if pictures:
        said.append(
            _("Thick: mean with its 95 % interval. Pale: ± 3 s. Upright lines: limits of the drawing.")
        )
    said += [
        _(
            "{press} is not stable: its numbers below describe what was, no process that could be repeated.",
            press=row.press,
        )
        for row in presses
        if row.verdict.startswith(_("Not stable"))
    ]
    # Presses side by side, a line a number: what is compared stands next to each other.
    return Block(
        f"{signal.name}: {signal.sentence}",
        tuple(said),
        tuple(pictures),
        head=("", *(row.press for row in presses)) if presses else (),
        rows=tuple((name, *(cells[row.press].get(name, "–") for row in presses)) for name in names),
    )


def _lane_words(row: LaneRow) -> str:
    name = f"{row.press} {row.name}".strip()
    return f"{name}: {row.verdict} {row.detail}".strip()


def _versions(history: Any) -> Block:
    return Block(
        _("Limits over the years"),
        head=(_("Version"), _("Since"), _("Limits"), _("Demand"), _("By"), _("Why")),
        rows=tuple((str(one.number), one.since, one.limits, one.demand, one.who, one.why) for one in history),
    )


def _basis(connection: sa.Connection, mold: str, asked: Stretch) -> dict[str, Any]:
    kept: Any = mold_by_code(connection, mold)
    held = in_force(connection, kept, until_ms=asked.to_ms)
    wanted: Mapping[str, Any] = {PRODUCT: held.limits.get(PRODUCT), **held.limits}
    rows = {row["press_id"]: row for row in accepted_presses(connection)}
    setups = setups_by_press(connection, mold, rows)
    presses: dict[str, dict[str, Any]] = {}
    for press_id, ids in setups.items():
        for signal, given in wanted.items():
            one = assess_press(connection, rows[press_id], ids, signal, limits_of(given), asked)
            if len(one.values):
                presses.setdefault(rows[press_id]["press"], {})[signal] = _of_press(one)
    return {
        "kind": "capability",
        "mold": mold,
        "from": as_text(asked.from_ms),
        "to": as_text(asked.to_ms),
        "limits_version": held.version.version_no if held.version else None,
        "limits": {name: dict(given) for name, given in held.limits.items() if isinstance(given, Mapping)},
        "demand_ppk": demand_of(held),
        "presses": presses,
    }


def _of_press(one: Assessed) -> dict[str, Any]:
    """What identifies the values (their bits with their times), and what they came to."""
    values = hashlib.sha256(np.ascontiguousarray(one.at_ms, dtype="<i8").tobytes())
    values.update(np.ascontiguousarray(one.values, dtype="<f8").tobytes())
    found: dict[str, Any] = {
        "n": len(one.values),
        "first": as_text(int(one.at_ms[0])),
        "last": as_text(int(one.at_ms[-1])),
        "values_sha256": values.hexdigest(),
        "mean": float(np.mean(one.values)),
        "sd": float(np.std(one.values, ddof=1)) if len(one.values) > 1 else None,
        "stable": one.stability.stable if isinstance(one.stability, Stability) else None,
    }
    if isinstance(one.capability, Capability):
        for name in ("pp", "ppk"):
            index = getattr(one.capability, name, None)
            found[name] = index.value if isinstance(index, Index) else None
    elif isinstance(one.capability, Undetermined):
        found["not_judged"] = one.capability.reason
    return found
