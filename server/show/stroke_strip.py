"""The stroke strip: one shot to scale on a bare ruler, today against the startup record."""

import dataclasses
import math

from markupsafe import Markup

from server.language import _, kept_by_language
from server.show.scale import Scale, round_step, ticks
from server.show.svg import box, drawing, element, label, line
from server.words.numbers import number
from server.words.units import Units


@dataclasses.dataclass(frozen=True)
class Stroke:
    """Where a shot starts and ends, mm, with the band most shots lie in. None: not known."""

    shot_size_mm: float
    cushion_mm: float
    shot_size_band: tuple[float, float] | None = None
    cushion_band: tuple[float, float] | None = None
    transfer_mm: float | None = None


@dataclasses.dataclass(frozen=True)
class StripSize:
    """Width and height of the picture, its ruler's line, and how many labels fit."""

    width: float
    height: float
    axis_y: float
    labels: int


ROW = StripSize(width=440.0, height=46.0, axis_y=28.0, labels=4)
PAGE = StripSize(width=860.0, height=54.0, axis_y=34.0, labels=5)


@kept_by_language(4_000)
def stroke_strip(
    today: Stroke | None,
    *,
    startup: Stroke | None = None,
    units: Units | None = None,
    unusual: bool = False,
    size: StripSize = ROW,
) -> Markup:
    """The picture; without shots an empty ruler's place is kept and said to be empty."""
    units = units or Units()
    strokes = [stroke for stroke in (today, startup) if stroke is not None]
    if not strokes:
        return drawing([], width=size.width, height=size.height, alt=_("no shots to draw"), class_="strip")
    top = max(units.shown("length", stroke.shot_size_mm) for stroke in strokes)
    low = min(0.0, *(units.shown("length", stroke.cushion_mm) for stroke in strokes))
    scale = Scale(low=low, high=max(_above(top), 1e-6), left=6.0, right=size.width - 12.0)
    parts: list[Markup] = [_ruler(scale, size)]
    if startup is not None:
        parts += _startup(startup, scale, units, size)
    if today is not None:
        parts += _today(today, scale, units, size)
    return drawing(
        parts,
        width=size.width,
        height=size.height,
        alt=strip_words(today, startup=startup, units=units),
        class_="strip strip-unusual" if unusual else "strip",
    )


def strip_words(today: Stroke | None, *, startup: Stroke | None, units: Units) -> str:
    """The picture in words.

    >>> strip_words(Stroke(80.0, 6.0), startup=Stroke(80.0, 6.5), units=Units())
    'From 80.0 mm to a cushion of 6.00 mm; at startup from 80.0 mm to 6.50 mm'
    """

    def said(value: float) -> str:
        return f"{number(units.shown('length', value), 3)} {units.written('length')}"

    told = _("No shots today")
    if today is not None:
        told = _(
            "From {said} to a cushion of {said_2}",
            said=said(today.shot_size_mm),
            said_2=said(today.cushion_mm),
        )
    if startup is None:
        return _("{told}; no startup record", told=told)
    return _(
        "{told}; at startup from {said} to {said_2}",
        told=told,
        said=said(startup.shot_size_mm),
        said_2=said(startup.cushion_mm),
    )


def _above(top: float) -> float:
    """A round end of the ruler a little above the longest stroke, so that it does not move with each shot.

    >>> _above(80.0), _above(79.6), _above(3.2)
    (82.0, 82.0, 3.3)
    """
    step = round_step(top, 40)
    return round(step * math.ceil(top * 1.02 / step), 9)


@kept_by_language(1_000)
def _ruler(scale: Scale, size: StripSize) -> Markup:
    y = size.axis_y
    step = round_step(scale.high - scale.low, size.labels)
    marks, numbers = [f"M{scale.left:g} {y:g}H{scale.right:g}"], []
    for value in ticks(scale.low, scale.high, step / 4.0):
        whole = math.isclose(value / step, round(value / step), abs_tol=1e-6)
        half = math.isclose(value / step * 2, round(value / step * 2), abs_tol=1e-6)
        x, length = scale.at(value), 5.0 if whole else 4.0 if half else 2.0
        marks.append(f"M{x:.2f} {y:g}v{length:g}")
        if whole:
            numbers.append(label(x, y + 15.0, f"{value:g}", "strip-number"))
    return Markup("").join([element("path", d="".join(marks), class_="strip-ruler"), *numbers])


def _startup(stroke: Stroke, scale: Scale, units: Units, size: StripSize) -> list[Markup]:
    start = scale.clipped(units.shown("length", stroke.shot_size_mm))
    end = scale.clipped(units.shown("length", stroke.cushion_mm))
    top, bottom = size.axis_y - 23.0, size.axis_y - 1.0
    return [
        line(end, top, start, top, "strip-startup"),
        line(end, top, end, bottom, "strip-startup"),
        line(start, top, start, bottom, "strip-startup"),
    ]


def _today(stroke: Stroke, scale: Scale, units: Units, size: StripSize) -> list[Markup]:
    def at(value: float) -> float:
        return scale.clipped(units.shown("length", value))

    y = size.axis_y - 9.0
    parts = [
        box(at(low), y - 8.0, max(at(high) - at(low), 0.8), 16.0, "strip-band")
        for low, high in (band for band in (stroke.shot_size_band, stroke.cushion_band) if band)
    ]
    start, end = at(stroke.shot_size_mm), at(stroke.cushion_mm)
    parts.append(line(end, y, start, y, "strip-today"))
    parts.append(line(end, y - 9.0, end, y + 8.0, "strip-end"))
    parts.append(line(start, y - 9.0, start, y + 8.0, "strip-end"))
    if stroke.transfer_mm is not None:
        x = at(stroke.transfer_mm)
        parts.append(line(x, y - 4.0, x, y + 8.0, "strip-transfer"))
    return parts
