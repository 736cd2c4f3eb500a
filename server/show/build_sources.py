"""The page of the sources: who brings shots, since when not, and what is missing from whom."""

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final
from urllib.parse import quote

import sqlalchemy as sa

from server.clock import from_datetime
from server.language import N_, _, plural
from server.show.frame import Frame
from server.show.plant_words import Plant, press_href
from server.store.device_keys import DeviceKey, all_keys
from server.store.page_queries import accepted_presses, shots_between
from server.store.sources import all_sources
from server.words.numbers import count_word
from server.words.times import HOUR, MINUTE, age, span

#: A collector reports every 15 s; after four missed reports something is wrong with it or its way here.
STALE_AFTER_MS: Final = MINUTE
_KIND: Final = {"opcua": N_("OPC UA"), "mqtt": "MQTT", "folder": N_("a folder of files")}
_FIELD: Final = {
    "shot_size_cm3": N_("shot size"),
    "shot_size_mm": N_("shot size"),
    "cushion": N_("cushion"),
    "cushion_mm": N_("cushion"),
    "cushion_cm3": N_("cushion volume"),
    "peak_pressure_bar": N_("peak pressure"),
    "transfer_pressure_bar": N_("pressure at transfer"),
    "hold_pressure_bar": N_("hold pressure"),
    "fill_time_s": N_("fill time"),
    "recovery_time_s": N_("recovery time"),
    "cycle_time_s": N_("cycle time"),
    "zone_temps_c": N_("barrel temperatures"),
    "back_pressure_bar": N_("back pressure"),
    "transfer_position_mm": N_("transfer position"),
    "start_position_mm": N_("start position"),
    "screw_speed_rpm": N_("screw speed"),
    "injection_speed_mm_s": N_("injection speed"),
}


@dataclasses.dataclass(frozen=True)
class Lack:
    """A field a press does not give, and why."""

    field: str
    why: str


@dataclasses.dataclass(frozen=True)
class SourcePress:
    """A press as its collector sees it. `state`: well, trouble or away."""

    press: str
    href: str
    state: str
    state_text: str
    last_shot: str
    last_hour: str
    lost: str
    clock: str
    facts: str
    lacks: tuple[Lack, ...]


@dataclasses.dataclass(frozen=True)
class SourceApart:
    when: str
    press: str
    reason: str
    raw: str


@dataclasses.dataclass(frozen=True)
class SourceCard:
    """A collector with its last word. `state`: well, trouble or stale."""

    name: str
    kind: str
    address: str
    state: str
    state_text: str
    spool: str
    spool_warns: bool
    sent: str
    troubles: tuple[str, ...]
    reasons: tuple[str, ...]
    presses: tuple[SourcePress, ...]
    apart: tuple[SourceApart, ...]
    api_href: str


@dataclasses.dataclass(frozen=True)
class SenderRow:
    """A press whose shots come through the API without a collector that reports."""

    press: str
    href: str
    keys: str
    last_shot: str
    arrived: str
    last_hour: str
    lag: str
    stale: bool


@dataclasses.dataclass(frozen=True)
class SourcesPage:
    frame: Frame
    answer: str
    under: str
    sources: tuple[SourceCard, ...]
    senders: tuple[SenderRow, ...]
    idle_keys: tuple[str, ...]


def build_sources(connection: sa.Connection, plant: Plant) -> SourcesPage:
    cards = tuple(_card(one, plant) for one in all_sources(connection))
    reported = {press.press for card in cards for press in card.presses}
    keys = [key for key in all_keys(connection) if key.revoked_ms is None]
    senders = tuple(
        _sender(connection, row, keys, plant)
        for row in accepted_presses(connection)
        if row["press"] not in reported and row["last_arrival_ms"] is not None
    )
    return SourcesPage(
        frame=plant.frame(_("Sources"), active="/sources"),
        answer=_answer(cards, senders),
        under=_("A collector says every 15 seconds how it is doing; what it cannot send waits on its disk"),
        sources=tuple(sorted(cards, key=lambda card: (card.state == "well", card.name))),
        senders=senders,
        idle_keys=tuple(key.name for key in keys if key.last_used_ms is None),
    )


def _answer(cards: Sequence[SourceCard], senders: Sequence[SenderRow]) -> str:
    if not cards and not senders:
        return _("Nothing brings shots yet.")
    if not cards:
        sending = plural(len(senders), "press sends by itself", "presses send by themselves")
        return _(
            "{senders} {sending}, no collector reports.",
            senders=count_word(len(senders), capital=True),
            sending=sending,
        )
    ill = [card for card in cards if card.state != "well"]
    if not ill:
        many = _("The source") if len(cards) == 1 else _("All {cards} sources", cards=count_word(len(cards)))
        return _("{many} {value} well.", many=many, value=plural(len(cards), "is", "are"))
    if len(ill) == 1:
        return f"{ill[0].name}: {ill[0].state_text}."
    of = (
        _("of {cards} sources", cards=count_word(len(cards)))
        if len(ill) < len(cards)
        else _("sources, all there are,")
    )
    return _("{ill} {of} need a look.", ill=count_word(len(ill), capital=True), of=of)


def _card(row: Mapping[str, Any], plant: Plant) -> SourceCard:
    report = row["report"]
    stale = plant.now_ms - row["reported_ms"] > STALE_AFTER_MS
    presses = tuple(_press(one, plant, stale=stale) for one in report["presses"])
    spool, sending = report["spool"], report["sending"]
    troubles = [text for text in (report["trouble"], sending["trouble"]) if text]
    away = [one for one in presses if one.state != "well"]
    state, text = "well", _("reports, {reported}", reported=age(row["reported_ms"], plant.now_ms))
    if stale:
        state, text = "stale", _("has said nothing for {now}", now=span(plant.now_ms - row["reported_ms"]))
    elif sending["trouble"]:
        state, text = "trouble", _("cannot deliver, its shots wait")
    elif report["trouble"]:
        state, text = "trouble", _("in trouble")
    elif away:
        state = "trouble"
        many = plural(len(presses), "press", "presses")
        text = _(
            "{away} of {presses} {many} not well",
            away=count_word(len(away)),
            presses=count_word(len(presses)),
            many=many,
        )
    return SourceCard(
        name=row["name"],
        kind=_KIND.get(row["kind"], row["kind"]),
        address=report["address"],
        state=state,
        state_text=text,
        spool=_spool(spool, plant),
        spool_warns=bool(spool["refused"]) or spool["waiting"] >= 0.8 * max(1, spool["most"]),
        sent=_sent(sending),
        troubles=tuple(troubles),
        reasons=tuple(sending["reasons"][-3:]),
        presses=presses,
        apart=tuple(
            SourceApart(plant.moment(_ms(one["at"])), one["press"], one["reason"], _short(one["raw"]))
            for one in report["apart"]
        ),
        api_href=f"/api/v1/sources/{quote(row['name'], safe='')}",
    )


def _press(one: Mapping[str, Any], plant: Plant, *, stale: bool) -> SourcePress:
    state, text = "well", "connected"
    if not one["connected"]:
        state, text = "away", one["trouble"] or _("not connected")
    elif one["trouble"]:
        state, text = "trouble", one["trouble"]
    if stale and state == "well":
        state, text = "away", _("not known")
    return SourcePress(
        press=one["press"],
        href=press_href(one["press"]),
        state=state,
        state_text=text,
        last_shot=plant.moment(_ms(one["last_shot_at"])),
        last_hour=f"{one['shots_last_hour']:,}",
        lost=f"{one['lost']:,}" if one["lost"] else "none",
        clock=_clock(one["clock_offset_s"]),
        facts=", ".join(f"{name.replace('_', ' ')} {said}" for name, said in one["facts"].items()),
        lacks=tuple(Lack(_FIELD.get(name, name), why) for name, why in one["not_reported"].items()),
    )


def _clock(offset_s: float | None) -> str:
    if offset_s is None:
        return "–"
    if abs(offset_s) < 5.0:
        return "right"
    return f"{span(abs(offset_s) * 1000)} {'ahead' if offset_s > 0 else 'behind'}"


def _spool(spool: Mapping[str, Any], plant: Plant) -> str:
    parts = []
    if spool["waiting"]:
        oldest = _ms(spool["oldest_at"])
        since = "" if oldest is None else _(", the oldest for {now}", now=span(plant.now_ms - oldest))
        shots = plural(spool["waiting"], "shot waits", "shots wait")
        parts.append(
            _("{waiting:,} {shots} on its disk{since}", waiting=spool["waiting"], shots=shots, since=since)
        )
    else:
        parts.append(_("nothing waits on its disk"))
    if spool["apart"]:
        parts.append(_("{apart:,} kept apart there", apart=spool["apart"]))
    if spool["refused"]:
        parts.append(_("{refused:,} refused because it was full", refused=spool["refused"]))
    return ", ".join(parts)


def _sent(sending: Mapping[str, Any]) -> str:
    parts = [_("{stored:,} stored since it was started", stored=sending["stored"])]
    for name, word in (
        ("conflict", _("contradicted stored ones")),
        ("rejected", _("kept apart by the server")),
    ):
        if sending[name]:
            parts.append(f"{sending[name]:,} {word}")
    return ", ".join(parts)


def _sender(
    connection: sa.Connection, row: Mapping[str, Any], keys: Sequence[DeviceKey], plant: Plant
) -> SenderRow:
    since = plant.now_ms - HOUR
    lately = shots_between(connection, row["press_id"], from_ms=since)
    arrived = row["last_arrival_ms"]
    names = [key.name for key in keys if key.press in ("", row["press"]) and key.last_used_ms is not None]
    silent_ms = 1000.0 * float(row["silent_after_s"] or plant.settings["silent_after_s"])
    return SenderRow(
        press=row["press"],
        href=press_href(row["press"]),
        keys=", ".join(names[:3]) or "–",
        last_shot=plant.moment(row["last_shot_ms"]),
        arrived=age(arrived, plant.now_ms),
        last_hour=f"{lately:,}",
        lag="–" if row["last_shot_ms"] is None else span(max(0, arrived - row["last_shot_ms"])),
        stale=plant.now_ms - arrived > silent_ms,
    )


def _ms(text: str | None) -> int | None:
    try:
        at = None if text is None else dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if at is None or at.tzinfo is None else from_datetime(at)


def _short(raw: str) -> str:
    return raw if len(raw) <= 120 else f"{raw[:117]}…"
