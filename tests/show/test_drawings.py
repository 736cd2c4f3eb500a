"""What the server draws: to scale, without looks of its own, and told in words."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from server.show.evidence_bar import evidence_bar
from server.show.histogram import histogram
from server.show.lanes import Lane, Limits, lane_drawing, lane_ruler, shared_scale
from server.show.likelihood_path import likelihood_path
from server.show.pellet import FILL, pellet
from server.show.stroke_strip import PAGE, ROW, StripSize, Stroke, stroke_strip
from server.words.times import DAY
from server.words.units import Units

SVG = ElementTree.Element
NOW = 1_795_008_120_000


def read(markup: str) -> SVG:
    """The drawing as XML: it has to be well formed, and to bring no looks."""
    assert "style=" not in markup
    assert "fill=" not in markup
    assert "#" not in markup
    return ElementTree.fromstring(str(markup))


def of_class(drawing: SVG, name: str) -> list[SVG]:
    return [one for one in drawing.iter() if name in (one.get("class") or "").split()]


def place(mark: SVG, name: str = "x1") -> float:
    return float(mark.get(name) or "nan")


@pytest.mark.parametrize("size", [ROW, PAGE])
def test_a_stroke_is_to_scale(size: StripSize) -> None:
    drawing = read(stroke_strip(Stroke(80.0, 20.0, transfer_mm=40.0), size=size))
    cushion, shot = (place(one) for one in of_class(drawing, "strip-end"))
    ruler = of_class(drawing, "strip-ruler")[0].get("d") or ""
    zero = float(ruler.removeprefix("M").split()[0])
    transfer = place(of_class(drawing, "strip-transfer")[0])
    assert (cushion - zero) / (shot - zero) == pytest.approx(20 / 80, abs=0.002)
    assert (transfer - zero) / (shot - zero) == pytest.approx(40 / 80, abs=0.002)


def test_the_startup_record_stands_dashed_above_today() -> None:
    drawing = read(stroke_strip(Stroke(81.4, 3.8), startup=Stroke(80.0, 6.0)))
    top = of_class(drawing, "strip-startup")[0]
    today = of_class(drawing, "strip-today")[0]
    assert float(top.get("y1") or 0) < float(today.get("y1") or 0)
    assert place(top) > place(today)


def test_a_strip_tells_itself_in_the_plants_units() -> None:
    drawing = read(stroke_strip(Stroke(76.2, 5.08), startup=None, units=Units(length="in")))
    assert drawing.get("aria-label") == "From 3.00 in to a cushion of 0.200 in; no startup record"


def test_no_shots_leave_the_place_empty_and_say_so() -> None:
    drawing = read(stroke_strip(None))
    assert drawing.get("aria-label") == "no shots to draw"
    assert of_class(drawing, "strip-today") == []


def test_a_cushion_below_zero_is_still_inside_the_picture() -> None:
    drawing = read(stroke_strip(Stroke(60.0, -1.5)))
    assert all(0 <= place(one) <= ROW.width for one in of_class(drawing, "strip-end"))


def area(mark: SVG) -> float:
    points = [tuple(map(float, pair.split(","))) for pair in (mark.get("points") or "").split()]
    x, y = np.array(points).T
    return abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2


@pytest.mark.parametrize("urgency", FILL)
def test_a_pellet_fills_up_with_urgency(urgency: str) -> None:
    drawing = read(pellet(urgency))
    share = area(of_class(drawing, "pellet-fill")[0]) / area(of_class(drawing, "pellet-edge")[0])
    # The hexagon's lower third holds a little less than a third of it.
    assert share == pytest.approx(FILL[urgency], abs=0.07)
    assert drawing.get("aria-hidden") == "true"


def test_a_rising_likelihood_rises_in_the_picture() -> None:
    points = [(NOW - day * DAY, 1 - day / 30) for day in range(29, -1, -1)]
    line = of_class(read(likelihood_path(points, now_ms=NOW)), "path-line")[0]
    heights = [float(pair.split(",")[1]) for pair in (line.get("points") or "").split()]
    assert heights == sorted(heights, reverse=True)
    assert heights[0] - heights[-1] > 20


def test_days_without_a_judgement_are_a_gap() -> None:
    points = [(NOW - 20 * DAY, 0.1), (NOW - 19 * DAY, 0.1), (NOW - 2 * DAY, 0.5), (NOW - DAY, 0.5)]
    assert len(of_class(read(likelihood_path(points, now_ms=NOW)), "path-line")) == 2


def test_what_lies_before_the_thirty_days_is_left_out() -> None:
    drawing = read(likelihood_path([(NOW - 40 * DAY, 0.9)], now_ms=NOW))
    assert of_class(drawing, "path-line") == []
    assert "no likelihood" in (drawing.get("aria-label") or "")


def test_evidence_for_goes_right_and_against_goes_left_outlined() -> None:
    forward = of_class(read(evidence_bar(2.0, largest=2.0)), "bar-for")[0]
    back = of_class(read(evidence_bar(-1.0, largest=2.0)), "bar-against")[0]
    middle = place(of_class(read(evidence_bar(1.0, largest=2.0)), "bar-middle")[0])
    assert place(forward, "x") == middle
    assert place(back, "x") + float(back.get("width") or 0) == pytest.approx(middle)
    assert float(forward.get("width") or 0) == pytest.approx(2 * float(back.get("width") or 0))


def test_lanes_share_one_ruler_with_the_limits() -> None:
    limits = Limits(lower=41.2, upper=42.4)
    lanes = [
        Lane("P03", mean=41.8, mean_low=41.79, mean_high=41.81, sd=0.1),
        Lane("P07", mean=41.5, mean_low=41.4, mean_high=41.6, sd=0.3, falls_short=True),
    ]
    scale = shared_scale(lanes, limits)
    drawings = [read(lane_drawing(lane, scale=scale, limits=limits, unit="g")) for lane in lanes]
    assert len({place(of_class(one, "lane-limit")[0]) for one in drawings}) == 1
    spread = of_class(drawings[1], "lane-spread")[0]
    assert place(spread, "x") < place(of_class(drawings[1], "lane-limit")[0])
    texts = [
        one.text
        for one in of_class(read(lane_ruler(scale=scale, limits=limits, unit="g")), "lane-limit-number")
    ]
    assert texts == ["41.20", "42.40"]


def test_one_limit_draws_one_line() -> None:
    limits = Limits(upper=5.0)
    lane = Lane("P01", mean=3.0, mean_low=2.9, mean_high=3.1, sd=0.5)
    scale = shared_scale([lane], limits)
    drawing = read(lane_drawing(lane, scale=scale, limits=limits, unit="g"))
    assert len(of_class(drawing, "lane-limit")) == 1


def test_a_distribution_is_as_high_as_its_counts() -> None:
    drawing = read(histogram([0.0, 1.0, 2.0, 3.0], counts=[1, 4, 2], limits=Limits(0.5, 2.5), unit="g"))
    heights = [float(one.get("height") or 0) for one in of_class(drawing, "histogram-bar")]
    assert heights[1] == pytest.approx(4 * heights[0], abs=0.05)
    assert heights[2] == pytest.approx(2 * heights[0], abs=0.05)


def test_drawings_take_their_texts_apart_from_their_marks() -> None:
    lane = Lane('<script>"&', mean=1.0, mean_low=0.9, mean_high=1.1, sd=0.1)
    markup = str(lane_drawing(lane, scale=shared_scale([lane], Limits()), limits=Limits(), unit="g"))
    assert "<script" not in markup
    assert re.search(r"&lt;script&gt;", markup)
