"""Presses, molds and settings: taken when they make sense, refused with field, value and bound."""

import json
from typing import Any

import pytest
import sqlalchemy as sa

from server.contract import SIGNALS
from server.errors import BadBodyError
from server.record import presses, settings
from server.record.fields import read_code
from server.store.audit import PLANT, audit_of
from server.store.plant import need_mold, need_press, read_settings
from tests.notify.plants import press_named, scratch
from tests.record.asking import NOW, refused, waits_from


def configure(connection: sa.Connection, code: str = "P07", **body: Any) -> presses.Configured:
    return presses.configure_press(connection, code, body, who="eda", now_ms=NOW)


@pytest.mark.parametrize(
    ("body", "field", "parts"),
    [
        ({"screw_diameter_mm": 4}, "screw_diameter_mm", ("4", "at least 5")),
        ({"screw_diameter_mm": "45"}, "screw_diameter_mm", ("'45'", "a number")),
        ({"screw_diameter_mm": True}, "screw_diameter_mm", ("True",)),
        ({"screw_diameter_mm": float("nan")}, "screw_diameter_mm", ("finite",)),
        ({"screw_diameter_mm": 10**400}, "screw_diameter_mm", ("finite",)),
        ({"dose_lag": 2}, "dose_lag", ("2", "0 to 1")),
        ({"valve_style": "flap"}, "valve_style", ("'flap'", "sliding_ring")),
        ({"valve_style": None}, "valve_style", ("null",)),
        ({"cushion_definition": ""}, "cushion_definition", ("end_of_hold",)),
        ({"diameter": 45}, "diameter", ("known", "screw_diameter_mm")),
        ({"area": "x" * 81}, "area", ("80", "81")),
        ({"details": {"x": float("inf")}}, "details", ("finite",)),
    ],
)
def test_a_press_is_refused_with_field_value_and_bound(
    body: dict[str, Any], field: str, parts: tuple[str, ...]
) -> None:
    with scratch() as connection:
        refused(lambda: configure(connection, **body), field, *parts)


def test_a_body_that_is_no_object_is_refused() -> None:
    with scratch() as connection, pytest.raises(BadBodyError):
        presses.configure_press(connection, "P07", [1], who="eda", now_ms=NOW)


@pytest.mark.parametrize("code", ["", "x" * 41, "a/b", "a\\b", ".", "..", " a", "a ", "a\nb", "a\x7f"])
def test_a_code_that_breaks_paths_is_refused(code: str) -> None:
    refused(lambda: read_code("press", code), "press")


def test_codes_are_kept_composed() -> None:
    assert read_code("press", "Gru\u0308n 4+") == "Gr\u00fcn 4+"


def test_a_press_is_created_merged_and_cleared() -> None:
    with scratch() as connection:
        assert configure(connection, screw_diameter_mm=45, area="hall 2").created
        assert not configure(connection, dose_lag=1).created
        configure(connection, screw_diameter_mm=None)
        press = need_press(connection, "P07")
        assert (press.screw_diameter_mm, press.area, press.dose_lag) == (None, "hall 2", 1)
        assert [row.action for row in audit_of(connection, press.press_id)] == [
            "press_changed",
            "press_changed",
            "press_created",
        ]


@pytest.mark.parametrize(
    ("body", "rewrites"),
    [
        ({"screw_diameter_mm": 50}, True),
        ({"dose_lag": 1}, True),
        ({"cushion_definition": "most_forward"}, True),
        ({"valve_style": "ball_check"}, True),
        ({"bottom_mm": 1.5}, True),
        ({"screw_diameter_mm": 45}, False),
        ({"area": "hall 3"}, False),
    ],
)
def test_what_changes_the_meaning_of_shots_is_evaluated_from_the_start(
    body: dict[str, Any], rewrites: bool
) -> None:
    with scratch() as connection:
        configure(connection, screw_diameter_mm=45)
        press = need_press(connection, "P07")
        assert waits_from(connection, press) is None
        assert configure(connection, **body).rewrites == rewrites
        assert waits_from(connection, press) == (0 if rewrites else None)


def test_saying_the_same_again_leaves_no_trace() -> None:
    with scratch() as connection:
        configure(connection, area="hall 2")
        configure(connection, area="hall 2")
        press = need_press(connection, "P07")
        assert len(audit_of(connection, press.press_id)) == 1


def mold(connection: sa.Connection, **body: Any) -> presses.Configured:
    return presses.configure_mold(connection, "M-113", body, who="eda", signals=SIGNALS, now_ms=NOW)


@pytest.mark.parametrize(
    ("bounds", "field"),
    [
        ({"lower": 42.0, "upper": 41.0}, "limits.part_weight_g.upper"),
        ({"lower": 41.0, "upper": 41.0}, "limits.part_weight_g.upper"),
        ({"lower": 41.0, "target": 40.0, "upper": 42.0}, "limits.part_weight_g.target"),
        ({"target": 42.0, "upper": 41.0}, "limits.part_weight_g.upper"),
        ({"target": 42.0}, "limits.part_weight_g"),
        ({"low": 42.0}, "limits.part_weight_g"),
        ({"lower": "41"}, "limits.part_weight_g.lower"),
    ],
)
def test_limits_in_the_wrong_order_are_refused(bounds: dict[str, Any], field: str) -> None:
    with scratch() as connection:
        refused(lambda: mold(connection, limits={"part_weight_g": bounds}), field)


@pytest.mark.parametrize(
    "bounds",
    [{"lower": 41.2, "upper": 42.4, "target": 41.8}, {"upper": 42.4}, {"lower": 41.2, "target": 42.0}],
)
def test_limits_may_be_one_sided(bounds: dict[str, float]) -> None:
    with scratch() as connection:
        assert mold(connection, part="cap", cavities=2, limits={"part_weight_g": bounds}).created
        kept = need_mold(connection, "M-113")
        assert json.loads(kept["limits"]) == {"part_weight_g": bounds}
        assert (kept["part"], kept["cavities"]) == ("cap", 2)
        assert [row.action for row in audit_of(connection, PLANT)] == ["mold_created"]


def test_an_unknown_signal_has_no_limits() -> None:
    with scratch() as connection:
        refused(lambda: mold(connection, limits={"weight": {"lower": 1}}), "limits.weight", "part_weight_g")


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"prevalence": 0}, "prevalence"),
        ({"prevalence": 0.6}, "prevalence"),
        ({"language": "xx"}, "language"),
        ({"time_zone": "Middle/Earth"}, "time_zone"),
        ({"shifts": ["6:00"]}, "shifts[0]"),
        ({"shifts": ["06:00", "06:00"]}, "shifts"),
        ({"shifts": []}, "shifts"),
        ({"rules": ["beyond_limit", "luck"]}, "rules[1]"),
        ({"units": {"length": "ft"}}, "units.length"),
        ({"units": {"time": "s"}}, "units"),
        ({"open_at": 0.3}, "open_at"),
        ({"close_at": 0.8}, "close_at"),
        ({"accept_unknown_presses": "yes"}, "accept_unknown_presses"),
        ({"colour": "red"}, "colour"),
        ({"plant_name": None}, "plant_name"),
    ],
)
def test_a_setting_out_of_bounds_is_refused_and_nothing_is_kept(body: dict[str, Any], field: str) -> None:
    with scratch() as connection:
        before = read_settings(connection)
        both = {"plant_name": "North", **body}
        refused(
            lambda: settings.change_settings(connection, both, who="eda", now_ms=NOW),
            field,
        )
        assert read_settings(connection) == before


def test_settings_merge_and_only_some_are_worth_evaluating_again() -> None:
    with scratch() as connection:
        press = press_named(connection)
        body: dict[str, Any] = {"units": {"length": "in"}, "plant_name": "North"}
        assert not settings.change_settings(connection, body, who="eda", now_ms=NOW)
        kept = read_settings(connection)
        assert (kept["units"]["length"], kept["units"]["pressure"]) == ("in", "bar")
        assert waits_from(connection, press) is None
        assert settings.change_settings(connection, {"prevalence": 0.1}, who="eda", now_ms=NOW)
        assert waits_from(connection, press) == 0
        assert not settings.change_settings(connection, {"prevalence": 0.1}, who="eda", now_ms=NOW)
        assert len(audit_of(connection, PLANT)) == 2
