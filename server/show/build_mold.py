"""The mold page: one verdict a signal, one lane a press."""

import json
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

import numpy as np
import sqlalchemy as sa

from server import clock
from server.derived.mold_limits import InForce, in_force
from server.language import _
from server.maths.capability import Capability
from server.maths.results import Undetermined
from server.show.histogram import histogram
from server.show.judged import read_judgement
from server.show.lanes import Lane, Limits, lane_drawing, lane_ruler, shared_scale
from server.show.mold_compared import before_and_after, choices_of, history_rows, odd_ones
from server.show.mold_judged import (
    PRODUCT,
    Assessed,
    Stretch,
    assess_press,
    demand_of,
    limit_words,
    limits_of,
    only_unstable,
    setups_by_press,
    standing_of,
    unit_of,
)
from server.show.mold_words import (
    facts_of,
    is_normal,
    lane_verdict,
    mold_answer,
    signal_sentence,
    stands_out,
    verdict_of,
)
from server.show.pages import LaneRow, MoldPage, SignalVerdict
from server.show.plant_words import Plant, press_href
from server.store.mold_versions import versions_of
from server.store.page_queries import Row, accepted_presses
from server.store.plant import mold_by_code
from server.words.catalogue import signal_name
from server.words.times import DAY

_STRETCH_DAYS = 30


def usual_stretch(now_ms: int) -> Stretch:
    """The last thirty days, today included."""
    today = now_ms // DAY * DAY
    return Stretch(today - _STRETCH_DAYS * DAY, today + 2 * DAY)


def build_mold(
    connection: sa.Connection,
    plant: Plant,
    *,
    mold: str,
    stretch: Stretch | None = None,
    split_ms: int | None = None,
) -> MoldPage | None:
    """None: no such mold. split_ms: compare what came before and after this moment."""
    found = mold_by_code(connection, mold)
    if found is None:
        return None
    asked = stretch or usual_stretch(plant.now_ms)
    held = in_force(connection, found, until_ms=asked.to_ms)
    wanted = {PRODUCT: held.limits.get(PRODUCT), **held.limits}
    demand = demand_of(held)
    rows = {row["press_id"]: row for row in accepted_presses(connection)}
    setups = setups_by_press(connection, mold, rows)
    judged = {
        signal: {
            press_id: assess_press(connection, rows[press_id], ids, signal, limits_of(given), asked)
            for press_id, ids in setups.items()
        }
        for signal, given in wanted.items()
    }
    by_press = {rows[press_id]["press"]: one for press_id, one in judged[PRODUCT].items()}
    standing = standing_of([by_press], demand=demand, limited=bool(limits_of(wanted[PRODUCT]).known()))
    first = limits_of(wanted[PRODUCT])
    out = stands_out(standing.fit, standing.short, only_unstable=standing.only_unstable)
    events = choices_of(connection, [rows[press_id] for press_id in setups], asked, plant)
    return MoldPage(
        frame=plant.frame(mold, active="/molds", note=found["part"]),
        mold=mold,
        part=found["part"],
        answer=mold_answer(
            mold,
            standing.fit,
            standing.short,
            limited=standing.limited,
            only_unstable=standing.only_unstable,
        ),
        under=_under(first, demand, asked, plant, out, held),
        signals=tuple(
            _verdict(signal, here, rows, limits_of(wanted[signal]), demand, mold, asked)
            for signal, here in judged.items()
        ),
        consistency=_consistency([row for press_id, row in rows.items() if press_id in setups], mold),
        sureness=_sureness(by_press, limited=standing.limited),
        api_href=f"/api/v1/molds/{quote(mold, safe='')}",
        edit=_edit(found, first, demand, stated=held.demand.get("ppk") is not None),
        from_text=f"{plant.zone.local(asked.from_ms):%Y-%m-%d}",
        to_text=f"{plant.zone.local(min(asked.to_ms - 1, max(asked.from_ms, plant.now_ms))):%Y-%m-%d}",
        odd=odd_ones(by_press, first),
        history=history_rows(versions_of(connection, mold), plant),
        events=events,
        report_body=_report_body(mold, asked, plant),
        split=None
        if split_ms is None
        else before_and_after(by_press, split_ms, first, demand=demand, plant=plant),
    )


def _report_body(mold: str, asked: Stretch, plant: Plant) -> str:
    ends = {"from": clock.as_text(asked.from_ms), "to": clock.as_text(min(asked.to_ms, plant.now_ms))}
    return json.dumps({"kind": "capability", "subject": mold} | ends)


def _under(limits: Limits, demand: float, asked: Stretch, plant: Plant, out: str, held: InForce) -> str:
    parts = []
    if limits.lower is not None or limits.upper is not None:
        parts.append(
            _(
                "Part weight {limit_words} · demand Ppk ≥ {demand:.2f}",
                limit_words=limit_words(limits, "g"),
                demand=demand,
            )
        )
    end = _("today") if asked.to_ms > plant.now_ms else plant.day(asked.to_ms - 1)
    parts.append(_("{since} to {end}", since=plant.day(asked.from_ms), end=end))
    if held.newer and held.version is not None:
        parts.append(_("limits of that time, version {version_no}", version_no=held.version.version_no))
    return " · ".join([*parts, out] if out else parts)


def _verdict(
    signal: str,
    here: Mapping[int, Assessed],
    rows: Mapping[int, Row],
    limits: Limits,
    demand: float,
    mold: str,
    asked: Stretch,
) -> SignalVerdict:
    unit = unit_of(signal)
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
    unstable = {rows[press_id]["press"] for press_id, one in here.items() if only_unstable(one, demand)}
    sentence = signal_sentence(fit, short, limits=limits, only_unstable=set(short) <= unstable)
    span = {"signal": signal, "from": clock.as_text(asked.from_ms), "to": clock.as_text(asked.to_ms)}
    return SignalVerdict(
        signal=signal,
        # What the press does is no property of the part, whatever limits a plant sets itself.
        name=signal_name(signal)
        if signal == PRODUCT
        else _("{signal} (process, not part)", signal=signal_name(signal)),
        unit=unit,
        sentence=sentence if shown or not limits.known() else _("no values yet"),
        lanes=tuple(shown),
        ruler=lane_ruler(scale=scale, limits=limits, unit=unit) if shown else None,
        data_href=f"/api/v1/molds/{quote(mold, safe='')}/capability?{urlencode(span)}" if shown else "",
    )


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
    verdict, detail, short = _("{values} values", values=len(one.values)), "", False
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
        facts=facts_of(one.capability, unit, demand=demand) if isinstance(one.capability, Capability) else (),
        histogram=histogram(edges.tolist(), counts=counts.tolist(), limits=limits, unit=unit),
    )


def _consistency(rows: Sequence[Row], mold: str) -> str:
    told = []
    for row in rows:
        ratio = read_judgement(row).fact("swept_scatter") if row["mold"] == mold else None
        if ratio is not None:
            found = _("steady") if ratio < 1.25 else _("scatter {ratio:.1f} times", ratio=ratio)
            told.append(f"{row['press']} {found}")
    start = _("Cushion and swept stroke have no limits of the drawing.")
    if not told:
        return _("{start} No press runs this mold now with a startup record to compare with.", start=start)
    return _("{start} Against the startup record: {join}.", start=start, join=", ".join(told))


def _sureness(assessed: Mapping[str, Assessed], *, limited: bool) -> str:
    judged = {
        name: one.capability for name, one in assessed.items() if isinstance(one.capability, Capability)
    }
    if not judged and limited:
        return _(
            "There are no indices yet: the limits are entered, part weights are missing or too few."
            " They come with the shots, from the press or from a file."
        )
    if not judged:
        return _(
            "There are no indices yet: enter the limits of the drawing and send part weights with the shots."
        )
    normal = [name for name, one in judged.items() if is_normal(one)]
    other = [name for name in judged if name not in normal]
    parts = []
    if normal:
        parts.append(_("Normal by Anderson–Darling on {join}.", join=", ".join(normal)))
    if other:
        parts.append(_("By percentiles on {join}, since not normal there.", join=", ".join(other)))
    parts.append(_("Intervals are 95 %. The uncertainty of the scale stands in every number."))
    return " ".join(parts)


def _edit(
    mold: Mapping[str, Any], limits: Limits, demand: float, *, stated: bool
) -> tuple[tuple[str, str], ...]:
    def text(value: Any) -> str:
        return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)

    return (
        ("part", mold["part"]),
        ("cavities", text(mold["cavities"])),
        ("lower", text(limits.lower)),
        ("target", text(limits.target)),
        ("upper", text(limits.upper)),
        ("ppk", text(demand if stated else None)),
    )
