"""Two stretches laid over one another: what the pictures hold."""

import re

import numpy as np
import pytest

from server.show.overlay import Ruler, Stretch, class_edges, overlay_bars, overlay_course, shares

CHANCE = np.random.default_rng(3)
EARLY = Stretch("Record 1", np.round(CHANCE.normal(74.0, 0.05, 200), 2))
LATER = Stretch("Now", np.round(CHANCE.normal(74.6, 0.20, 300), 2))
RULER = Ruler("mm", 2, step=0.01, center=74.0, lower=73.85, upper=74.15)


def test_classes_are_whole_display_steps_and_hold_every_value_of_both() -> None:
    edges = class_edges([EARLY, LATER], step=0.01)
    steps = np.diff(edges) / 0.01
    assert np.allclose(steps, np.round(steps))
    assert len(edges) <= 34
    # No reading lies on an edge: rounding cannot push it into one class or the other.
    assert not np.isin(np.round(np.concatenate([EARLY.values, LATER.values]), 4), np.round(edges, 4)).any()
    for one in (EARLY, LATER):
        assert sum(shares(edges, one)) == pytest.approx(100.0)


def test_bars_are_shares_so_that_unlike_many_shots_compare() -> None:
    twice = Stretch("Now", np.concatenate([EARLY.values, EARLY.values]))
    edges = class_edges([EARLY, twice], step=0.01)
    assert shares(edges, EARLY) == pytest.approx(shares(edges, twice))


def test_pictures_say_in_words_what_they_show() -> None:
    for picture in (
        overlay_bars(EARLY, LATER, ruler=RULER),
        overlay_course(EARLY, LATER, ruler=RULER),
    ):
        said = re.search(r'aria-label="([^"]+)"', picture)
        assert said
        assert "Record 1 200 shots from" in said[1]
        assert "Now 300 shots from" in said[1]
    assert "73.85" in overlay_bars(EARLY, LATER, ruler=RULER)


def test_a_shot_left_out_is_a_gap_and_a_single_far_one_is_seen_among_thousands() -> None:
    holed = np.full(9, 5.0)
    holed[4] = np.nan
    picture = overlay_course(Stretch("a", holed), None, ruler=Ruler("mm", 2))
    (path,) = re.findall(r'd="([^"]+)"', picture)
    assert path.count("M") == 2
    many = np.full(9_000, 5.0)
    many[7_001] = 9.0
    picture = overlay_course(Stretch("a", many), None, ruler=Ruler("mm", 2))
    reach = re.findall(r'd="([^"]+)"', picture)[0]
    tops = [float(top) for top in re.findall(r"V([\d.]+)", reach)]
    assert len(tops) == 300
    assert sum(top < min(tops) + 1.0 for top in tops) == 1


def test_nothing_known_and_equal_values_are_drawn_without_trouble() -> None:
    nothing = Stretch("a", np.full(5, np.nan))
    assert overlay_bars(nothing, None, ruler=Ruler("mm", 2)) == ""
    assert overlay_course(nothing, None, ruler=Ruler("mm", 2)) == ""
    same = Stretch("a", np.full(5, 3.0))
    assert "histogram" not in overlay_bars(same, nothing, ruler=Ruler("mm", 2, lower=3.0, upper=3.0))
    assert "nan" not in overlay_bars(same, None, ruler=Ruler("mm", 2)).lower()
    assert "nan" not in overlay_course(same, None, ruler=Ruler("mm", 2)).lower()
