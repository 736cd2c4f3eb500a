"""The press page's chart: signals stacked on one time axis, as plotly JSON built from plain inputs.

Colours are token names (`--ink`); the page's script puts the style sheet's values in, so that light
and dark are one figure. Lines carry no marks; what was found is a bar under the stretch it covers.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from server.show.figure_bands import Most, Times, filled, local, most_lines
from server.words.catalogue import rule_name, signal_name
from server.words.numbers import fixed
from server.words.times import Zone
from server.words.units import Units, signal_places, signal_quantity

#: Height of one signal's part and of what stands around the parts, in pixels.
_PART_PX, _AROUND_PX = 128, 56
_GAP: Final = 0.26


@dataclasses.dataclass(frozen=True)
class Trace:
    """One signal over time: points in order, NaN where missing. `low`/`high` when thinned, else empty.

    `most`: where nine in ten shots lay, in pieces of its own.
    """

    signal: str
    at_ms: Sequence[int]
    mean: Sequence[float]
    low: Sequence[float] = ()
    high: Sequence[float] = ()
    most: Most | None = None


@dataclasses.dataclass(frozen=True)
class SignalLimits:
    """The startup record's middle and limits of a signal, in the stored unit."""

    center: float
    lower: float | None
    upper: float | None


@dataclasses.dataclass(frozen=True)
class FindingBar:
    """A stretch a rule marked."""

    signal: str
    rule: str
    from_ms: int
    to_ms: int


@dataclasses.dataclass(frozen=True)
class EventMark:
    """Something people or the press changed."""

    at_ms: int
    label: str


@dataclasses.dataclass(frozen=True)
class Window:
    """What stretch of time is shown."""

    from_ms: int
    to_ms: int


@dataclasses.dataclass(frozen=True)
class _Part:
    """Where one signal stands: its axis and how a stored value becomes a shown one."""

    trace: Trace
    axis: str
    bottom: float
    top: float
    units: Units

    def shown(self, value: float) -> float | None:
        return self.listed([value])[0]

    def listed(self, values: Sequence[float]) -> list[float | None]:
        """Stored values as shown ones, None where missing."""
        quantity = signal_quantity(self.trace.signal)
        # Straight lines between units: what holds for 0 and 1 holds for every value.
        zero = self.units.shown(quantity, 0.0) if quantity else 0.0
        step = (self.units.shown(quantity, 1.0) if quantity else 1.0) - zero
        array = np.round(np.asarray(values, dtype=np.float64) * step + zero, self._places())
        return [value if math.isfinite(value) else None for value in array.tolist()]

    def _places(self) -> int:
        return signal_places(self.trace.signal, self.units) + 2

    def text(self, value: float) -> str:
        return fixed(self.shown(value), signal_places(self.trace.signal, self.units))


def press_figure(
    traces: Sequence[Trace],
    *,
    window: Window,
    limits: Mapping[str, SignalLimits],
    findings: Sequence[FindingBar] = (),
    events: Sequence[EventMark] = (),
    units: Units | None = None,
    zone: Zone | None = None,
) -> dict[str, Any]:
    """`{"data", "layout", "config", "times"}`; an empty list of traces gives an empty figure.

    It is plotly JSON, but for `x`: that is the number of a list in `times`, since signals share their
    times and half the bytes would be the same texts again.
    """
    units, zone = units or Units(), zone or Zone("UTC")
    parts = _parts(traces, units)
    layout = _layout(parts, window, zone)
    notes: list[dict[str, Any]] = []
    shapes: list[dict[str, Any]] = []
    lines: list[dict[str, Any]] = []
    times = Times(zone)
    for part in parts:
        layout[part.axis] = _value_axis(part, limits.get(part.trace.signal))
        lines += _lines(part, times)
        notes += _names(part)
        if part.trace.signal in limits:
            shapes += _limit_shapes(part, limits[part.trace.signal])
            notes += _limit_notes(part, limits[part.trace.signal])
        shapes += [
            _finding_shape(part, bar, window, zone) for bar in findings if bar.signal == part.trace.signal
        ]
    inside = [event for event in events if window.from_ms <= event.at_ms <= window.to_ms]
    shapes += [_event_shape(event, zone) for event in inside]
    notes += _event_notes(inside, window, zone)
    layout["shapes"], layout["annotations"] = shapes, notes
    return {"data": lines, "layout": layout, "config": _CONFIG, "times": times.lists}


_CONFIG: Final[dict[str, Any]] = {
    "displayModeBar": False,
    "responsive": True,
    "doubleClick": False,
    "showTips": False,
}


def _parts(traces: Sequence[Trace], units: Units) -> list[_Part]:
    count = len(traces)
    step = 1.0 / count if count else 1.0
    return [
        _Part(
            trace=trace,
            axis="yaxis" if i == 0 else f"yaxis{i + 1}",
            top=1.0 - i * step - 0.2 * step * _GAP,
            bottom=1.0 - (i + 1) * step + 0.8 * step * _GAP,
            units=units,
        )
        for i, trace in enumerate(traces)
    ]


def _axis_ref(axis: str) -> str:
    return "y" + axis.removeprefix("yaxis")


def _layout(parts: Sequence[_Part], window: Window, zone: Zone) -> dict[str, Any]:
    lowest = _axis_ref(parts[-1].axis) if parts else "y"
    return {
        "height": _AROUND_PX + _PART_PX * max(len(parts), 1),
        "margin": {"l": 118, "r": 62, "t": 22, "b": 34},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "--font", "size": 12, "color": "--ink"},
        "showlegend": False,
        "dragmode": "zoom",
        "hovermode": "x",
        "hoversubplots": "axis",
        "hoverlabel": {"bgcolor": "--card", "bordercolor": "--line", "font": {"color": "--ink"}},
        "xaxis": {
            "type": "date",
            "range": [local(window.from_ms, zone), local(window.to_ms, zone)],
            "anchor": lowest,
            "showgrid": False,
            "zeroline": False,
            "linecolor": "--line",
            "tickcolor": "--line",
            "tickfont": {"color": "--soft"},
            "ticks": "outside",
            "nticks": 8,
            "showspikes": True,
            "spikemode": "across",
            "spikethickness": 1,
            "spikedash": "solid",
            "spikecolor": "--line",
        },
        "meta": {"from_ms": window.from_ms, "to_ms": window.to_ms, "zone": zone.name},
    }


def _value_axis(part: _Part, limits: SignalLimits | None) -> dict[str, Any]:
    low, high = _reach(part, limits)
    return {
        "domain": [part.bottom, part.top],
        "range": [low, high],
        "fixedrange": True,
        "showgrid": False,
        "zeroline": False,
        "showticklabels": False,
        "ticks": "",
        "hoverformat": f".{signal_places(part.trace.signal, part.units)}f",
    }


def _reach(part: _Part, limits: SignalLimits | None) -> tuple[float, float]:
    """Everything drawn fits, with air above and below."""
    known = [] if limits is None else [limits.center, limits.lower, limits.upper]
    values = [*part.trace.mean, *part.trace.low, *part.trace.high, *(one for one in known if one is not None)]
    array = np.asarray(values, dtype=np.float64)
    array = array[np.isfinite(array)]
    ends = part.listed([float(array.min()), float(array.max())]) if len(array) else [0.0, 1.0]
    low, high = sorted(one or 0.0 for one in ends)
    air = 0.06 * (high - low) or max(abs(high) * 0.01, 0.01)
    return low - air, high + air


def _lines(part: _Part, times: Times) -> list[dict[str, Any]]:
    trace = part.trace
    at = times.number(trace.at_ms)
    common = {"type": "scatter", "mode": "lines", "x": at, "yaxis": _axis_ref(part.axis)}
    lines: list[dict[str, Any]] = []
    if trace.low and trace.high:
        lines.append(filled(common, times, trace.at_ms, part.listed(trace.low), part.listed(trace.high)))
    places = signal_places(trace.signal, part.units)
    if (most := trace.most) is not None:
        shown = [part.listed(column) for column in (most.low, most.median, most.high)]
        lines += most_lines(common, times, most.at_ms, shown, places=places)
    quantity = signal_quantity(trace.signal)
    unit = part.units.written(quantity) if quantity else ""
    lines.append(
        {
            **common,
            "name": signal_name(trace.signal),
            "y": part.listed(trace.mean),
            "line": {"width": 1.2, "color": "--ink"},
            "connectgaps": False,
            "hovertemplate": f"{signal_name(trace.signal)} %{{y:.{places}f}} {unit}<extra></extra>",
        }
    )
    return lines


def _names(part: _Part) -> list[dict[str, Any]]:
    quantity = signal_quantity(part.trace.signal)
    unit = part.units.written(quantity).replace("ms/", "ms per ") if quantity else ""
    return [
        {
            "text": f"<b>{signal_name(part.trace.signal).partition(' per ')[0]}</b><br>{unit}",
            "xref": "paper", "x": 0, "xanchor": "left", "xshift": -114,
            "yref": "paper", "y": part.top, "yanchor": "top",
            "align": "left", "showarrow": False,
        }
    ]  # fmt: skip


def _limit_shapes(part: _Part, limits: SignalLimits) -> list[dict[str, Any]]:
    shapes = [_across(part, limits.center, {"color": "--soft", "width": 1, "dash": "dash"})]
    for value in (limits.lower, limits.upper):
        if value is not None:
            shapes.append(_across(part, value, {"color": "--hairline", "width": 1}))
    return shapes


def _across(part: _Part, value: float, look: dict[str, Any]) -> dict[str, Any]:
    shown = part.shown(value)
    return {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": _axis_ref(part.axis),
        "y0": shown, "y1": shown, "line": look, "layer": "below",
    }  # fmt: skip


def _limit_notes(part: _Part, limits: SignalLimits) -> list[dict[str, Any]]:
    """Values at the right end; limits closer than a line of text are pushed apart."""
    low, high = _reach(part, limits)
    height = _PART_PX * (1.0 - _GAP)
    notes = []
    apart = 0.0
    if limits.lower is not None and limits.upper is not None:
        lower, upper = part.shown(limits.lower) or 0.0, part.shown(limits.upper) or 0.0
        between = (upper - lower) / (high - low) * height
        apart = max(0.0, (14.0 - between) / 2.0)
    for value, push in ((limits.lower, -apart), (limits.upper, apart)):
        if value is not None:
            notes.append(
                {
                    "text": part.text(value), "xref": "paper", "x": 1, "xanchor": "left", "xshift": 6,
                    "yref": _axis_ref(part.axis), "y": part.shown(value), "yanchor": "middle",
                    "yshift": push, "showarrow": False, "font": {"color": "--soft", "size": 11},
                }
            )  # fmt: skip
    return notes


def _finding_shape(part: _Part, bar: FindingBar, window: Window, zone: Zone) -> dict[str, Any]:
    # A single shot would be narrower than a pixel: it gets a sliver that can be seen.
    least = (window.to_ms - window.from_ms) // 300
    start, end = max(bar.from_ms, window.from_ms), min(max(bar.to_ms, bar.from_ms + least), window.to_ms)
    return {
        "type": "rect", "xref": "x", "x0": local(start, zone), "x1": local(end, zone),
        "yref": f"{_axis_ref(part.axis)} domain", "y0": -0.075, "y1": -0.035,
        "fillcolor": "--now", "line": {"width": 0}, "layer": "above",
        "name": f"{signal_name(bar.signal)}: {rule_name(bar.rule)}",
    }  # fmt: skip


def _event_shape(event: EventMark, zone: Zone) -> dict[str, Any]:
    at = local(event.at_ms, zone)
    return {
        "type": "line", "xref": "x", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1,
        "line": {"color": "--week", "width": 1}, "layer": "below",
    }  # fmt: skip


def _event_notes(events: Sequence[EventMark], window: Window, zone: Zone) -> list[dict[str, Any]]:
    """Names at the top; where two would overlap only the line stays, its name is in the list below."""
    notes: list[dict[str, Any]] = []
    free_from = float(window.from_ms)
    width = max(window.to_ms - window.from_ms, 1)
    for event in sorted(events, key=lambda event: event.at_ms):
        room = width * (0.012 * len(event.label) + 0.01)
        left = event.at_ms + room <= window.to_ms + 0.06 * width
        if (event.at_ms if left else event.at_ms - room) < free_from:
            continue
        free_from = event.at_ms + (room if left else 0)
        notes.append(
            {
                "text": event.label, "xref": "x", "x": local(event.at_ms, zone),
                "xanchor": "left" if left else "right",
                "xshift": 3 if left else -3, "yref": "paper", "y": 1, "yanchor": "bottom", "showarrow": False,
                "font": {"color": "--week", "size": 11},
            }
        )  # fmt: skip
    return notes
