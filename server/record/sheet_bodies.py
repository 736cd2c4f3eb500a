"""What the readings of a sheet come to as the body of a study, kind by kind."""

from collections.abc import Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.store.plant import Press
from server.store.records import checks_of, list_studies
from server.store.sheets import Reading, Sheet
from server.valve.press_checks import PRESS_CHECKS
from server.words.times import DAY

#: The rows of readings of each kind; the first is the one meant where none is named.
SERIES: Final[dict[str, tuple[str, ...]]] = {
    "short-shot": ("short", "hold"),
    "drift-check": ("drift",),
    "gate-seal": ("gate_seal",),
    "qualification": (*PRESS_CHECKS, "balance"),
}
#: Studies made beside a qualification count with it when they are not older than this.
BESIDE_MS: Final = DAY


def paired(kind: str, series: str) -> bool:
    """Whether the readings of a series are pairs."""
    if kind == "qualification" and series in PRESS_CHECKS:
        return bool(PRESS_CHECKS[series].second)
    return series in ("drift", "gate_seal", "balance")


def body_of(
    connection: sa.Connection, press: Press, sheet: Sheet, readings: Sequence[Reading]
) -> dict[str, Any]:
    """The body that `keep_study` takes, from the readings that were not taken back."""
    rows: dict[str, list[Any]] = {}
    for one in readings:
        if one.withdrawn_ms is None:
            rows.setdefault(one.series, []).append(
                one.first if one.second is None else [one.first, one.second]
            )
    body: dict[str, Any] = {"press": press.press, "mold": sheet.mold}
    if sheet.kind == "short-shot":
        body |= {"weights_g": rows.get("short", []), **_named(sheet, "limit_pct", "process_class")}
        if len(rows.get("hold", [])) >= 3:
            body["hold_weights_g"] = rows["hold"]
    elif sheet.kind == "drift-check":
        body["samples"] = [{"t_s": t, "position_mm": p} for t, p in rows.get("drift", [])]
        body |= _named(sheet, "pressure_bar", "resin", "method", "plug_rated_bar")
        body |= _named(sheet, "viscosity_pa_s", "land_mm")
    elif sheet.kind == "gate-seal":
        body["points"] = [{"hold_time_s": t, "weight_g": w} for t, w in rows.get("gate_seal", [])]
    else:
        body |= _qualification(connection, press, sheet, rows)
    return body


def _named(sheet: Sheet, *names: str) -> dict[str, Any]:
    return {name: sheet.asked[name] for name in names if name in sheet.asked}


def _qualification(
    connection: sa.Connection, press: Press, sheet: Sheet, rows: dict[str, list[Any]]
) -> dict[str, Any]:
    limits = sheet.asked.get("limits", {})
    body: dict[str, Any] = {
        "measured": {
            name: {"readings": rows[name], **({"limit": limits[name]} if name in limits else {})}
            for name in PRESS_CHECKS
            if name in rows
        },
        "studies": beside(connection, press, sheet),
    }
    if "balance" in rows and "melt_density_g_cm3" in sheet.asked:
        body |= {"balance": rows["balance"], "melt_density_g_cm3": sheet.asked["melt_density_g_cm3"]}
    return body


def beside(connection: sa.Connection, press: Press, sheet: Sheet) -> list[dict[str, Any]]:
    """Studies of the same press, made from a day before this sheet on, the newest of each kind.

    A study that names a mold has to name this one; a drift check is of the valve, whatever the mold.
    """
    found: dict[str, dict[str, Any]] = {}
    until = sheet.closed_ms
    seals = [study for _, study in list_studies(connection, press_id=press.press_id, kind="gate-seal")]
    for study in sorted([*checks_of(connection, press.press_id), *seals], key=lambda one: one.at_ms):
        if study.at_ms < sheet.opened_ms - BESIDE_MS or (until is not None and study.at_ms > until):
            continue
        if study.kind == "inspection" or (study.mold not in ("", sheet.mold) and study.kind != "drift-check"):
            continue
        found[study.kind] = {
            "study": study.study_no,
            "kind": study.kind,
            "verdict": study.verdict,
            "with_hold": "hold" in study.result,
        }
    return list(found.values())
