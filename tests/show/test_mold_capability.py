"""The mold page and the API judge the same shots with the same function, autocorrelation included."""

import json
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS, SIGNALS
from server.maths.capability import Capability, Index, capability
from server.maths.intervals import Interval
from server.record.presses import configure_mold
from server.show.build_mold import build_mold
from server.show.build_molds import build_molds
from server.show.frame import Actor
from server.show.mold_judged import Stretch
from server.show.mold_words import index_text
from server.show.pages import LaneRow, MoldPage
from server.show.plant_words import plant_at
from server.store.database import Store
from server.store.plant import Setup, keep_setup, need_press, put_mold, put_press, setup_digest
from server.store.shots import note_arrival, store_shots
from tests.contract.reading_plant import Plant
from tests.maths.series import ar1

START, CYCLE, MOLD = 1_775_023_200_000, 20_000, "M-7"
SHOTS = 7_000
#: press → phi of its weights, and whether they come to a new level half way.
PRESSES = {"K1": (0.6, False), "K2": (0.0, False), "K3": (0.0, True), "K4": (0.0, False)}


def weights(press: str) -> Any:
    phi, moved = PRESSES[press]
    count = 20 if press == "K4" else SHOTS
    level = np.where(np.arange(count) > count // 2, 0.1, 0.0) if moved else 0.0
    return np.round(41.8 + 0.1 * ar1(count, phi=phi, seed=len(press) + int(press[1])) + level, 2)


def fill(c: sa.Connection) -> None:
    put_mold(
        c,
        MOLD,
        {"part": "lid", "limits": json.dumps({"part_weight_g": {"lower": 41.2, "upper": 42.4}})},
        now_ms=START,
    )
    for press in PRESSES:
        put_press(c, press, {"screw_diameter_mm": 45.0}, now_ms=START)
        press_id = need_press(c, press).press_id
        setup_id = setup_digest(MOLD, "PP-DEMO", "", "{}")
        keep_setup(c, Setup(press_id, setup_id, MOLD, "PP-DEMO", "", "{}", START))
        rows = [
            (START + i * CYCLE, i, setup_id, *({"part_weight_g": w}.get(name) for name in SHOT_COLUMNS))
            for i, w in enumerate(weights(press).tolist())
        ]
        store_shots(c, press_id, rows)
        last = START + (len(rows) - 1) * CYCLE
        note_arrival(c, press_id, last_shot_ms=last, last_counter=len(rows) - 1, now_ms=last)


@pytest.fixture(scope="module")
def plant(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    file = tmp_path_factory.mktemp("mold") / "plant.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    store.write(fill)
    yield Plant(store)
    store.close()


def page_of(plant: Plant, stretch: Stretch | None = None) -> MoldPage:
    with plant.objects.store.read() as c:
        page = build_mold(
            c,
            plant_at(c, now_ms=START + SHOTS * CYCLE, actor=Actor()),
            mold=MOLD,
            stretch=stretch,
        )
    assert page is not None
    return page


def asked(plant: Plant, page: MoldPage) -> dict[str, dict[str, Any]]:
    """What the API answers at the address the page itself names."""
    parts = urlsplit(page.signals[0].data_href)
    body = plant.get(f"{parts.path.removeprefix('/api/v1')}?{parts.query}")
    return {one["press"]: one for one in body["items"]}


def facts(row: LaneRow) -> dict[str, str]:
    return {fact.name: fact.value for fact in row.facts}


@pytest.mark.parametrize(
    "stretch",
    [None, Stretch(START + 1_000 * CYCLE + 7, START + 6_900 * CYCLE + 1)],
    ids=["usual", "asked for"],
)
def test_page_and_api_give_the_same_numbers_from_the_same_shots(
    plant: Plant, stretch: Stretch | None
) -> None:
    page = page_of(plant, stretch)
    answers = asked(plant, page)
    rows = {row.press: row for row in page.signals[0].lanes}
    assert set(rows) == {press for press, one in answers.items() if one["n"]}
    for press, row in rows.items():
        here, there = facts(row), answers[press]
        assert here["Values"].replace(",", "").replace(" ", "").replace("\u202f", "") == str(there["n"])
        for name in ("cp", "cpk", "pp", "ppk", "cpm"):
            index = Index(there[name], Interval(*there[f"{name}_interval"]))
            assert here[name.capitalize()] == index_text(index)
        assert (there["verdict"] in ("not_stable", "not_capable")) == row.falls_short
    assert answers["K1"]["n"] == (SHOTS if stretch is None else 5_900)


def test_what_the_page_draws_is_what_the_api_answers_to_the_bit(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: dict[float, Capability] = {}

    def kept(found: Capability, unit: str, **_how: Any) -> tuple[Any, ...]:
        drawn[found.mean] = found
        return ()

    monkeypatch.setattr("server.show.build_mold.facts_of", kept)
    answers = asked(plant, page_of(plant))
    assert len(drawn) == len(PRESSES)
    for there in answers.values():
        one = drawn[there["mean"]]
        for name in ("cp", "cpk", "pp", "ppk", "cpm"):
            index = getattr(one, name)
            assert index.value == there[name]
            assert [index.interval.lower, index.interval.upper] == there[f"{name}_interval"]
        assert (one.sigma_within, one.sigma_total) == (there["sigma_within"], there["sigma_total"])


def test_intervals_know_the_autocorrelation_that_was_seen(plant: Plant) -> None:
    answers = asked(plant, page_of(plant))
    one = answers["K1"]
    assert one["phi"] == pytest.approx(0.6, abs=0.05)
    assert one["n_effective"]["mean"] == pytest.approx(SHOTS * 0.25, rel=0.2)
    found = capability(weights("K1"), lower=41.2, upper=42.4, phi=one["phi"])
    blind = capability(weights("K1"), lower=41.2, upper=42.4)
    assert isinstance(found, Capability)
    assert isinstance(blind, Capability)
    assert found.ppk is not None
    assert blind.ppk is not None
    lower, upper = one["ppk_interval"]
    assert [lower, upper] == [found.ppk.interval.lower, found.ppk.interval.upper]
    assert upper - lower > 1.3 * (blind.ppk.interval.upper - blind.ppk.interval.lower)
    assert abs(answers["K2"]["phi"]) < 0.05


def test_stability_comes_before_any_index(plant: Plant) -> None:
    page = page_of(plant)
    one = asked(plant, page)["K3"]
    assert list(one).index("stability") < list(one).index("ppk")
    assert (one["verdict"], one["stability"]["stable"]) == ("not_stable", False)
    row = next(row for row in page.signals[0].lanes if row.press == "K3")
    assert row.verdict == "Not stable"
    assert "describes no process" in row.detail


def test_a_press_with_too_few_values_is_neither_fit_nor_short(plant: Plant) -> None:
    page = page_of(plant)
    row = next(row for row in page.signals[0].lanes if row.press == "K4")
    assert asked(plant, page)["K4"]["verdict"] == "too_few_values"
    assert not row.falls_short
    assert page.answer == f"{MOLD} is capable on two presses and not stable on K3."


def test_a_late_shot_is_on_the_page_at_once(store: Store) -> None:
    store.write(fill)
    plant = Plant(store)
    before = page_of(plant)

    def late(c: sa.Connection) -> None:
        press_id = need_press(c, "K2").press_id
        setup_id = setup_digest(MOLD, "PP-DEMO", "", "{}")
        row = (START + 5, 99_999, setup_id, *({"part_weight_g": 44.0}.get(n) for n in SHOT_COLUMNS))
        store_shots(c, press_id, [row])
        last = START + (SHOTS - 1) * CYCLE
        note_arrival(c, press_id, last_shot_ms=START + 5, last_counter=99_999, now_ms=last + 1)

    store.write(late)
    after = page_of(plant)
    mean = {facts(row)["Values"] for row in after.signals[0].lanes if row.press == "K2"}
    assert mean != {facts(row)["Values"] for row in before.signals[0].lanes if row.press == "K2"}


# --- beside one another, over the years ---------------------------------------------------------


def test_a_press_that_makes_other_parts_is_named_with_its_size(plant: Plant) -> None:
    """K3's parts come to a level 0.1 g higher half way: 0.05 g above the others over the whole stretch."""
    (sentence,) = page_of(plant).odd
    assert sentence.startswith("K3 makes parts 0.0504 g heavier than the other presses")
    assert "4 % of the tolerance" in sentence


def test_before_and_after_a_moment_each_press_is_judged_alike(plant: Plant) -> None:
    middle = START + SHOTS // 2 * CYCLE + 1
    with plant.objects.store.read() as c:
        at = plant_at(c, now_ms=START + SHOTS * CYCLE, actor=Actor())
        page = build_mold(c, at, mold=MOLD, split_ms=middle)
    assert page is not None
    assert page.split is not None
    rows = {row.press: row for row in page.split.rows}
    assert rows["K3"].change.startswith("mean +0.0986 g")
    assert rows["K2"].change.startswith("no change of the mean shown")
    assert "Ppk" in rows["K2"].before
    assert "stable" in rows["K3"].after
    assert "Not stable" not in rows["K3"].after


def test_how_sure_the_demand_is_met_stands_beside_the_index(plant: Plant) -> None:
    row = next(row for row in page_of(plant).signals[0].lanes if row.press == "K2")
    assert facts(row)["Ppk ≥ 1.33, how sure"] == "over 99 %"


def test_molds_stand_worst_first_with_their_verdict(plant: Plant) -> None:
    def more(c: sa.Connection) -> None:
        put_mold(c, "A-0", {"part": "cap"}, now_ms=START)

    plant.objects.store.write(more)
    with plant.objects.store.read() as c:
        page = build_molds(c, plant_at(c, now_ms=START + SHOTS * CYCLE, actor=Actor()))
    assert [(row.mold, row.state) for row in page.rows] == [(MOLD, "not_stable"), ("A-0", "no_limits")]
    assert page.rows[0].verdict == f"{MOLD} is capable on two presses and not stable on K3."
    assert page.answer == (
        "No mold falls short of its demand. One is not stable. One has no limits of the drawing."
    )


def test_a_stretch_is_judged_by_the_limits_of_its_day(store: Store) -> None:
    store.write(fill)

    def change(c: sa.Connection) -> None:
        day = START + 3_000 * CYCLE
        newer = (42.2, day, "drawing B, agreed with the customer")
        for upper, at_ms, why in ((42.4, START, "drawing A"), newer):
            body = {"limits": {"part_weight_g": {"lower": 41.2, "upper": upper}}, "why": why}
            configure_mold(c, MOLD, body, who="mara", signals=SIGNALS, now_ms=at_ms)
        same = {"limits": {"part_weight_g": {"lower": 41.2, "upper": 42.2}}, "part": "lid 2"}
        configure_mold(c, MOLD, same, who="mara", signals=SIGNALS, now_ms=day + 9)

    store.write(change)
    plant = Plant(store)
    early = page_of(plant, Stretch(START, START + 2_000 * CYCLE))
    late = page_of(plant, Stretch(START, START + 4_000 * CYCLE))
    assert "limits of that time, version 1" in early.under
    assert "version" not in late.under
    assert [(one.number, one.who, one.why) for one in late.history] == [
        (2, "mara", "drawing B, agreed with the customer"),
        (1, "mara", "drawing A"),
    ]
    for page, upper, version in ((early, 42.4, 1), (late, 42.2, 2)):
        parts = urlsplit(page.signals[0].data_href)
        body = plant.get(f"{parts.path.removeprefix('/api/v1')}?{parts.query}")
        assert (body["limits"]["upper"], body["limits_version"]) == (upper, version)
    newest = plant.get(f"/molds/{MOLD}/versions")["items"][0]
    assert (newest["version"], newest["who"], newest["limits"]["part_weight_g"]["upper"]) == (2, "mara", 42.2)


def test_limits_on_what_the_press_does_never_make_the_part_capable(store: Store) -> None:
    store.write(fill)
    body = {"limits": {"cushion_mm": {"lower": 1.0, "upper": 9.0}}}
    store.write(lambda c: configure_mold(c, MOLD, body, who="mara", signals=SIGNALS, now_ms=START))
    page = page_of(Plant(store))
    assert page.answer.startswith(f"{MOLD} has no limits of its drawing yet")
    assert [one.name for one in page.signals] == ["Part weight", "Cushion (process, not part)"]
