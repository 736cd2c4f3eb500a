"""The mold page: one verdict a signal, one lane a press; and the list of molds."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server import clock
from server.derived.capability import DrawingLimits, PressCapability, press_capability
from server.maths.capability import Capability
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.show.histogram import histogram
from server.show.judged import read_judgement
from server.show.lanes import Lane, Limits, lane_drawing, lane_ruler, shared_scale
from server.show.mold_words import (
    DEMAND_PPK,
    facts_of,
    is_normal,
    is_only_unstable,
    lane_verdict,
    mold_answer,
    signal_sentence,
    stands_out,
    verdict_of,
)
from server.show.pages import LaneRow, MoldPage, MoldRow, MoldsPage, SignalVerdict
from server.show.plant_words import Plant, mold_href, press_href
from server.show.strokes import Kept
from server.store.page_queries import Row, accepted_presses, document, presses_of_molds
from server.store.plant import all_molds, mold_by_code, setups_with_mold
from server.words.catalogue import signal_name
from server.words.numbers import count_word, plural
from server.words.times import DAY
from server.words.units import signal_quantity

Floats = NDArray[np.float64]

_STRETCH_DAYS = 30
_PRODUCT = "part_weight_g"


@dataclasses.dataclass(frozen=True)
class Assessed:
    """One press's values of one characteristic."""

    values: Floats
    stability: Stability | Undetermined
    n_effective: float
    capability: Capability | Undetermined


_assessed: Kept[Assessed] = Kept(500)


@dataclasses.dataclass(frozen=True)
class Stretch:
    """What stretch of time is asked for; `to_ms` is exclusive."""

    from_ms: int
    to_ms: int


def build_molds(connection: sa.Connection, plant: Plant) -> MoldsPage:
    where = presses_of_molds(connection)
    rows = tuple(_mold_row(mold, where.get(mold["mold"], [])) for mold in all_molds(connection))
    without = sum(row.limits_text == "" for row in rows)
    answer = f"{count_word(len(rows), capital=True)} {plural(len(rows), 'mold')}."
    if rows and without:
        answer += f" {count_word(without, capital=True)} without limits of the drawing."
    return MoldsPage(
        frame=plant.frame("Molds", active="/molds"),
        answer=answer if rows else "No mold has run yet.",
        under="Capability per mold, across the presses it ran on",
        rows=rows,
    )


def _mold_row(mold: Mapping[str, Any], presses: Sequence[str]) -> MoldRow:
    limits = _limits(document(mold["limits"]).get(_PRODUCT))
    known = limits.lower is not None or limits.upper is not None
    return MoldRow(
        mold=mold["mold"],
        href=mold_href(mold["mold"]),
        part=mold["part"],
        cavities="" if mold["cavities"] is None else str(mold["cavities"]),
        presses=", ".join(presses),
        limits_text=f"part weight {_limit_words(limits, 'g')}" if known else "",
    )


def _limits(given: Any) -> Limits:
    if not isinstance(given, Mapping):
        return Limits()
    return Limits(*(_float(given.get(name)) for name in ("lower", "upper", "target")))


def _float(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _limit_words(limits: Limits, unit: str) -> str:
    if limits.lower is None:
        return f"at most {limits.upper:g} {unit}"
    if limits.upper is None:
        return f"at least {limits.lower:g} {unit}"
    return f"{limits.lower:g}–{limits.upper:g} {unit}"


def build_mold(
    connection: sa.Connection, plant: Plant, *, mold: str, stretch: Stretch | None = None
) -> MoldPage | None:
    """None: no such mold."""
    found = mold_by_code(connection, mold)
    if found is None:
        return None
    limits_of = document(found["limits"])
    wanted = {_PRODUCT: limits_of.get(_PRODUCT), **limits_of}
    demand = _float(document(found["demand"]).get("ppk")) or DEMAND_PPK
    today = plant.now_ms // DAY * DAY
    asked = stretch or Stretch(today - _STRETCH_DAYS * DAY, today + 2 * DAY)
    rows = {row["press_id"]: row for row in accepted_presses(connection)}
    setups: dict[int, list[int]] = {}
    for one in setups_with_mold(connection, mold):
        if one.press_id in rows:
            setups.setdefault(one.press_id, []).append(one.setup_id)
    verdicts = []
    fit: list[str] = []
    short: list[str] = []
    weak: set[str] = set()
    assessed: dict[str, Assessed] = {}
    for signal, given in wanted.items():
        here = {
            press_id: _assess(connection, rows[press_id], ids, signal, _limits(given), asked)
            for press_id, ids in setups.items()
        }
        verdict, fits, shorts = _verdict(signal, here, rows, _limits(given), demand, mold, asked)
        verdicts.append(verdict)
        fit += [name for name in fits if name not in fit]
        short += [name for name in shorts if name not in short]
        weak |= {rows[press_id]["press"] for press_id, one in here.items() if not _only_unstable(one, demand)}
        assessed |= {rows[press_id]["press"]: one for press_id, one in here.items()}
    fit = [name for name in fit if name not in short]
    limited = any(_limits(given).known() for given in wanted.values())
    first = _limits(wanted[_PRODUCT])
    only_unstable = not weak & set(short)
    return MoldPage(
        frame=plant.frame(mold, active="/molds", note=found["part"]),
        mold=mold,
        part=found["part"],
        answer=mold_answer(mold, fit, short, limited=limited, only_unstable=only_unstable),
        under=_under(first, demand, asked, plant, stands_out(fit, short, only_unstable=only_unstable)),
        signals=tuple(verdicts),
        consistency=_consistency([row for press_id, row in rows.items() if press_id in setups], mold),
        sureness=_sureness(assessed),
        api_href=f"/api/v1/molds/{quote(mold, safe='')}",
        edit=_edit(found, first, demand),
        from_text=f"{plant.zone.local(asked.from_ms):%Y-%m-%d}",
        to_text=f"{plant.zone.local(min(asked.to_ms - 1, max(asked.from_ms, plant.now_ms))):%Y-%m-%d}",
    )


def _only_unstable(one: Assessed, demand: float) -> bool:
    return isinstance(one.capability, Capability) and is_only_unstable(one.capability, demand=demand)


def _under(limits: Limits, demand: float, asked: Stretch, plant: Plant, out: str) -> str:
    parts = []
    if limits.lower is not None or limits.upper is not None:
        parts.append(f"Part weight {_limit_words(limits, 'g')} · demand Ppk ≥ {demand:.2f}")
    end = "today" if asked.to_ms > plant.now_ms else plant.day(asked.to_ms - 1)
    parts.append(f"{plant.day(asked.from_ms)} to {end}")
    return " · ".join([*parts, out] if out else parts)


def _assess(
    connection: sa.Connection, row: Row, setup_ids: list[int], signal: str, limits: Limits, asked: Stretch
) -> Assessed:
    key = (str(connection.engine.url), row["press_id"], signal, tuple(sorted(setup_ids)))
    # Whatever shot came, in order or late, the numbers are those the API gives at this moment.
    arrived = (row["last_shot_ms"], row["last_counter"], row["last_arrival_ms"], row["dose_lag_found"])
    mark = (limits, asked, row["screw_diameter_mm"], arrived)

    def make() -> Assessed:
        one: PressCapability = press_capability(
            connection,
            row["press_id"],
            signal=signal,
            setup_ids=setup_ids,
            limits=DrawingLimits(limits.lower, limits.upper, limits.target),
            from_ms=asked.from_ms,
            to_ms=asked.to_ms,
        )
        found = one.found
        return Assessed(one.values, found.stability, found.n_effective_mean, found.capability)

    return _assessed.get(key, mark, make)


def _verdict(
    signal: str,
    here: Mapping[int, Assessed],
    rows: Mapping[int, Row],
    limits: Limits,
    demand: float,
    mold: str,
    asked: Stretch,
) -> tuple[SignalVerdict, list[str], list[str]]:
    unit = {"mass": "g", "length": "mm", "pressure": "bar", "time": "s"}.get(signal_quantity(signal), "")
    lanes = {press_id: _lane(rows[press_id], one, demand) for press_id, one in here.items()}
    scale = shared_scale([lane for lane in lanes.values() if lane is not None], limits)
    shown = []
    for press_id, one in here.items():
        if len(one.values) == 0:
            continue
        shown.append(_lane_row(rows[press_id], one, lanes[press_id], scale, limits, demand, unit))
    shown.sort(key=lambda row: row.press)
    came_to = {
        rows[press_id]["press"]: verdict_of(one.capability, one.stability, demand=demand)
        for press_id, one in here.items()
    }
    fit = [row.press for row in shown if came_to[row.press] == "capable"]
    short = [row.press for row in shown if came_to[row.press] in ("not_stable", "not_capable")]
    unstable = {rows[press_id]["press"] for press_id, one in here.items() if _only_unstable(one, demand)}
    sentence = signal_sentence(fit, short, limits=limits, only_unstable=set(short) <= unstable)
    span = {"signal": signal, "from": clock.as_text(asked.from_ms), "to": clock.as_text(asked.to_ms)}
    verdict = SignalVerdict(
        signal=signal,
        name=signal_name(signal),
        unit=unit,
        sentence=sentence if shown or not limits.known() else "no values yet",
        lanes=tuple(shown),
        ruler=lane_ruler(scale=scale, limits=limits, unit=unit) if shown else None,
        data_href=f"/api/v1/molds/{quote(mold, safe='')}/capability?{urlencode(span)}" if shown else "",
    )
    return verdict, fit, short


def _lane(row: Row, one: Assessed, demand: float) -> Lane | None:
    if len(one.values) < 2:
        return None
    if isinstance(one.capability, Undetermined):
        mean, sd = float(np.mean(one.values)), float(np.std(one.values, ddof=1))
        short = False
    else:
        mean, sd = one.capability.mean, one.capability.sigma_total
        short = lane_verdict(one.capability, one.stability, demand=demand)[2]
    half = 1.96 * sd / float(np.sqrt(one.n_effective))
    return Lane(
        press=row["press"], mean=mean, mean_low=mean - half, mean_high=mean + half, sd=sd, falls_short=short
    )


def _lane_row(
    row: Row, one: Assessed, lane: Lane | None, scale: Any, limits: Limits, demand: float, unit: str
) -> LaneRow:
    verdict, detail, short = f"{len(one.values)} values", "", False
    if isinstance(one.capability, Capability):
        verdict, detail, short = lane_verdict(one.capability, one.stability, demand=demand)
    else:
        detail = one.capability.reason
    counts, edges = np.histogram(one.values, bins=min(40, max(8, int(np.sqrt(len(one.values))))))
    return LaneRow(
        press=row["press"],
        name=row["name"],
        href=press_href(row["press"]),
        lane=lane_drawing(lane, scale=scale, limits=limits, unit=unit) if lane else None,
        verdict=verdict,
        detail=detail,
        falls_short=short,
        facts=facts_of(one.capability, unit) if isinstance(one.capability, Capability) else (),
        histogram=histogram(edges.tolist(), counts=counts.tolist(), limits=limits, unit=unit),
    )


def _consistency(rows: Sequence[Row], mold: str) -> str:
    told = []
    for row in rows:
        ratio = read_judgement(row).fact("swept_scatter") if row["mold"] == mold else None
        if ratio is not None:
            told.append(f"{row['press']} {'steady' if ratio < 1.25 else f'scatter {ratio:.1f} times'}")
    start = "Cushion and swept stroke have no limits of the drawing."
    if not told:
        return f"{start} No press runs this mold now with a startup record to compare with."
    return f"{start} Against the startup record: {', '.join(told)}."


def _sureness(assessed: Mapping[str, Assessed]) -> str:
    judged = {
        name: one.capability for name, one in assessed.items() if isinstance(one.capability, Capability)
    }
    if not judged:
        return (
            "There are no indices yet: enter the limits of the drawing and send part weights with the shots."
        )
    normal = [name for name, one in judged.items() if is_normal(one)]
    other = [name for name in judged if name not in normal]
    parts = []
    if normal:
        parts.append(f"Normal by Anderson–Darling on {', '.join(normal)}.")
    if other:
        parts.append(f"By percentiles on {', '.join(other)}, since not normal there.")
    parts.append("Intervals are 95 %. The uncertainty of the scale stands in every number.")
    return " ".join(parts)


def _edit(mold: Mapping[str, Any], limits: Limits, demand: float) -> tuple[tuple[str, str], ...]:
    given = document(mold["demand"]).get("ppk")

    def text(value: Any) -> str:
        return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)

    return (
        ("part", mold["part"]),
        ("cavities", text(mold["cavities"])),
        ("lower", text(limits.lower)),
        ("target", text(limits.target)),
        ("upper", text(limits.upper)),
        ("ppk", text(demand if given is not None else None)),
    )
