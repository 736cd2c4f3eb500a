"""The page of two startup records compared, or of one against the newest shots."""

import dataclasses
from collections.abc import Mapping

import numpy as np
import sqlalchemy as sa

from server.derived.baseline_compared import (
    Compared,
    Side,
    SignalCompared,
    compare_records,
    compare_with_now,
)
from server.language import _, plural
from server.maths.results import Undetermined
from server.show.baseline_pages import ComparedRow, ComparePage
from server.show.build_baselines import record_choices, record_name
from server.show.drawn import drawn_signals
from server.show.pages import Choice, Fact
from server.show.plant_words import Plant, press_api, press_href
from server.show.stroke_strip import PAGE, Stroke, strip_words, stroke_strip
from server.store.page_queries import Row, press_with_state
from server.store.plant import press_by_id
from server.store.records import Baseline, baselines_of
from server.words.catalogue import signal_name
from server.words.numbers import NOTHING, count_word, fixed, signed_fixed, whole
from server.words.units import Units, signal_places, signal_quantity, signal_text

NOW = "now"


def build_compare(
    connection: sa.Connection, plant: Plant, *, press: str, first: str, second: str
) -> ComparePage | None:
    """first: a record's number, '' for the one in use; second: another, or `now`. None: no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    records = list(reversed(baselines_of(connection, row["press_id"])))
    one = _chosen(records, first) or _default(records, row)
    other = None if second in ("", NOW) else _chosen(records, second)
    found: Compared | Undetermined
    if one is None:
        found = Undetermined(_("the press has no startup record"))
    elif other is None:
        found = compare_with_now(connection, press_by_id(connection, row["press_id"]), one)
    else:
        found = compare_records(connection, press_by_id(connection, row["press_id"]), one, other)
    return _page(plant, press, records, one, other, found)


def _chosen(records: list[Baseline], number: str) -> Baseline | None:
    return next((one for one in records if str(one.baseline_no) == number), None)


def _default(records: list[Baseline], row: Row) -> Baseline | None:
    in_use = [one for one in records if one.baseline_no == row["baseline_no"]]
    return in_use[0] if in_use else records[0] if records else None


def _page(
    plant: Plant, press: str, records: list[Baseline], one: Baseline | None, other: Baseline | None,
    found: Compared | Undetermined,
) -> ComparePage:  # fmt: skip
    numbers = ("" if one is None else str(one.baseline_no), NOW if other is None else str(other.baseline_no))
    at = f"{press_href(press)}/baselines"
    page = ComparePage(
        frame=plant.frame(_("{press} records compared", press=press), active="/"),
        press=press,
        answer=_answer(press, found, plant.units),
        under=_("Second minus first, with 95 % intervals that take into account how alike neighbours" " are"),
        back_href=at,
        api_href=f"{press_api(press)}/baselines/compare?first={numbers[0]}&second={numbers[1]}",
        first_choices=record_choices(records, plant, numbers[0]),
        second_choices=(
            Choice(NOW, _("the newest shots"), numbers[1] == NOW), *record_choices(records, plant, numbers[1])
        ),
    )  # fmt: skip
    return page if isinstance(found, Undetermined) else _filled(page, found, plant)


def _filled(page: ComparePage, found: Compared, plant: Plant) -> ComparePage:
    units, names = plant.units, (_name(found.first, plant), _name(found.second, plant))
    heads = (_head(found.first), _head(found.second))
    now, startup = _stroke(found.second), _stroke(found.first)
    return dataclasses.replace(
        page,
        warning=_warning(found),
        first_name=names[0],
        second_name=names[1],
        heads=heads,
        strip=stroke_strip(now, startup=startup, units=units, size=PAGE),
        strip_says=f"{strip_words(now, startup=startup, units=units)}.",
        rows=tuple(_row(one, units) for one in found.signals if one.means is not None),
        apart=tuple(Fact(signal_name(one.signal), one.reason) for one in found.signals if one.means is None),
        drawn=drawn_signals(
            found.first.signals, found.second.signals, kept=found.first.kept, names=heads, units=units
        ),
    )


def _name(side: Side, plant: Plant) -> str:
    if side.baseline is None:
        return _("the newest {shots} shots, to {to}", shots=whole(side.shots), to=plant.moment(side.to_ms))
    return record_name(side.baseline, plant)


def _head(side: Side) -> str:
    return (
        _("Now")
        if side.baseline is None
        else _("Record {baseline_no}", baseline_no=side.baseline.baseline_no)
    )


def _answer(press: str, found: Compared | Undetermined, units: Units) -> str:
    """The first signal that differs in full, the others counted: the order of signals is that of weight."""
    if isinstance(found, Undetermined):
        return _("Nothing to compare on {press}: {reason}.", press=press, reason=found.reason)
    clear = [one for one in found.signals if one.moved or one.scattered]
    if not clear:
        return _("On {press} no signal differs by more than chance.", press=press)
    others = len(clear) - 1
    more = (
        ""
        if not others
        else _(
            "; {others} other {signal} differ as well",
            others=count_word(others),
            signal=plural(others, "signal", "signals"),
        )
    )
    if others == 1:
        more = _("; one other signal differs as well")
    return _(
        "On {press} {first_clear}{more}.", press=press, first_clear=_first_clear(clear[0], units), more=more
    )


def _first_clear(one: SignalCompared, units: Units) -> str:
    said = []
    if one.moved and one.means is not None:
        by = units.shown_difference(signal_quantity(one.signal), one.means.difference)
        text = signed_fixed(by, signal_places(one.signal, units))
        said.append(
            _(
                "has moved by {value} {signal_quantity}",
                value=text,
                signal_quantity=units.written(signal_quantity(one.signal)),
            )
        )
    if one.scattered and one.sigmas is not None:
        said.append(_("scatters {ratio} times as much", ratio=fixed(one.sigmas.ratio, 1)))
    return f"{signal_name(one.signal).lower()} {_(' and ').join(said)}"


def _apart(signal: str, value: float, units: Units, *, unit: bool = True) -> str:
    """A difference with its sign, in the plant's unit."""
    quantity = signal_quantity(signal)
    text = signed_fixed(units.shown_difference(quantity, value), signal_places(signal, units) + 1)
    return f"{text} {units.written(quantity)}" if unit else text


def _warning(found: Compared) -> str:
    parts = []
    if not found.same_process:
        parts.append(_("Mold, material or set-up differ: what is seen may be the process and not the valve."))
    if any(one.means and not one.from_values for one in found.signals):
        parts.append(
            _("Shots of a record are not there as they were any more; the numbers kept with it are compared.")
        )
    return " ".join(parts)


def _row(one: SignalCompared, units: Units) -> ComparedRow:
    assert one.means is not None
    assert one.effect is not None
    assert one.mean is not None
    assert one.sigma is not None
    quantity, places = signal_quantity(one.signal), signal_places(one.signal, units)

    first, second = (
        (
            signal_text(one.signal, mean, units),
            f"s {fixed(units.shown_difference(quantity, sigma), places + 1)}",
        )
        for mean, sigma in zip(one.mean, one.sigma, strict=True)
    )
    ratio, reach = NOTHING, ""
    if one.sigmas is not None:
        ratio = f"× {fixed(one.sigmas.ratio, 2)}"
        reach = _("{lower} to {upper}", lower=fixed(one.sigmas.lower, 2), upper=fixed(one.sigmas.upper, 2))
    clear = [
        word for said, word in ((one.moved, _("moved")), (one.scattered, _("scatters otherwise"))) if said
    ]
    ends = (_apart(one.signal, end, units, unit=False) for end in (one.means.lower, one.means.upper))
    return ComparedRow(
        signal=signal_name(one.signal),
        first=first,
        second=second,
        difference=_apart(one.signal, one.means.difference, units),
        difference_reach=_(" to ").join(ends),
        effect=signed_fixed(one.effect.g, 1),
        effect_reach=_(
            "{lower} to {upper}",
            lower=signed_fixed(one.effect.lower, 1),
            upper=signed_fixed(one.effect.upper, 1),
        ),
        ratio=ratio,
        ratio_reach=reach,
        worth=tuple(
            _("{n} worth {worth}", n=whole(n), worth=whole(worth))
            for n, worth in zip(one.n, one.means.n_effective, strict=True)
        ),
        clear=", ".join(clear),
    )


def _stroke(side: Side) -> Stroke | None:
    size, cushion = _band(side, "shot_size_mm"), _band(side, "cushion_mm")
    if size is None or cushion is None:
        return None
    return Stroke(size[1], cushion[1], (size[0], size[2]), (cushion[0], cushion[2]))


def _band(side: Side, signal: str) -> tuple[float, float, float] | None:
    if signal in side.signals:
        values = side.signals[signal][np.isfinite(side.signals[signal])]
        if len(values):
            low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
            return float(low), float(middle), float(high)
    kept: Mapping[str, float] | None = side.kept.get(signal)
    if kept is None:
        return None
    center, reach = float(kept["center"]), 1.645 * float(kept["sigma"])
    return center - reach, center, center + reach
