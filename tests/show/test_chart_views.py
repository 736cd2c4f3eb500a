"""A view of the chart over any length of time keeps every extreme and marked stretch, and stays short."""

from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS, SIGNALS
from server.evaluate.summaries import sum_up
from server.show.build_figure import SHOTS_MAX, Asked, build_figure
from server.show.frame import Actor
from server.show.plant_words import plant_at
from server.store.bulk import insert_rows
from server.store.database import Store
from server.store.evaluation import TEN_MINUTES, roll_up_further
from server.store.page_queries import finding_stretches
from server.store.plant import Setup, keep_setup, need_press, put_press, setup_digest
from server.store.shots import note_arrival, store_shots
from server.store.tables import findings, rollups
from server.words.times import DAY

START, CYCLE, SHOTS, POINTS = 1_775_023_200_000, 10_000, 13_000, 300
#: One shot that fell out, and a pause of two days behind half of them.
OUT, PAUSE = 2_345, 2 * DAY


def times() -> np.ndarray[Any, Any]:
    at = START + CYCLE * np.arange(SHOTS, dtype=np.int64)
    at[SHOTS // 2 :] += PAUSE
    return at


def cushions() -> np.ndarray[Any, Any]:
    made = np.round(6 + 0.05 * np.random.default_rng(4).standard_normal(SHOTS), 2)
    made[OUT] = 1.25
    return made


def fill(connection: sa.Connection) -> None:
    put_press(connection, "V1", {}, now_ms=START)
    press_id = need_press(connection, "V1").press_id
    setups = [setup_digest("M-7", "PP-DEMO", name, "{}") for name in "ab"]
    for setup_id, name in zip(setups, "ab", strict=True):
        keep_setup(connection, Setup(press_id, setup_id, "M-7", "PP-DEMO", name, "{}", START))
    at, values = times(), np.full((SHOTS, len(SIGNALS)), np.nan)
    values[:, SIGNALS.index("cushion_mm")] = cushions()
    # Two set-ups within one bucket of ten minutes.
    of_shot = np.where(np.arange(SHOTS) < 30, setups[0], setups[1])
    place = SHOT_COLUMNS.index("cushion_mm")
    rows = []
    for i, (moment, setup_id, value) in enumerate(
        zip(at.tolist(), of_shot.tolist(), cushions().tolist(), strict=True)
    ):
        given: list[Any] = [None] * len(SHOT_COLUMNS)
        given[place] = value
        rows.append((moment, i, setup_id, *given))
    store_shots(connection, press_id, rows)
    last = int(at[-1])
    note_arrival(connection, press_id, last_shot_ms=last, last_counter=SHOTS - 1, now_ms=last)
    summed = sum_up(at, of_shot, values).rows
    insert_rows(
        connection,
        rollups,
        ["press_id", "grain", *summed[0]],
        [(press_id, TEN_MINUTES, *row.values()) for row in summed],
    )
    roll_up_further(connection, press_id, summed)
    names = [column.name for column in findings.c if column.name != "extreme"]
    # Every fourth shot: more than a list of them would hold.
    episodes = [
        {"press_id": press_id, "signal": "cushion_mm", "rule": "one_side", "baseline_no": 1, "marks": 2,
         "from_ms": int(at[i]), "from_counter": i, "to_ms": int(at[i + 1]), "to_counter": i + 1}
        for i in range(0, SHOTS - 1, 4)
    ]  # fmt: skip
    insert_rows(connection, findings, names, [tuple(one[name] for name in names) for one in episodes])


@pytest.fixture
def filled(any_store: Store) -> Store:
    any_store.write(fill)
    return any_store


def view(store: Store, from_ms: int, to_ms: int) -> dict[str, Any]:
    with store.read() as connection:
        plant = plant_at(connection, now_ms=to_ms, actor=Actor("anna", "plant_engineer"))
        figure = build_figure(connection, plant, press="V1", asked=Asked(from_ms, to_ms, None, POINTS))
    assert figure is not None
    return figure


def heights(figure: dict[str, Any]) -> list[float]:
    return [y for line in figure["data"] for y in line["y"] if y is not None]


def test_every_length_keeps_the_extremes_of_every_shot(filled: Store) -> None:
    at, values = times(), cushions()
    for first, last in ((0, SHOTS - 1), (0, SHOTS_MAX + 500), (OUT - 2_000, OUT + 1_000), (OUT, OUT)):
        figure = view(filled, int(at[first]), int(at[last]) + 1)
        seen = heights(figure)
        # Whole buckets at the edges may bring neighbours along, never leave one of the stretch out.
        assert min(seen) == values[first : last + 1].min() == 1.25
        assert max(seen) >= values[first : last + 1].max()
        assert max(len(line["y"]) for line in figure["data"]) <= 4 * POINTS + 20


def test_a_long_view_weighs_pieces_by_their_shots_and_breaks_at_the_pause(filled: Store) -> None:
    at, values = times(), cushions()
    figure = view(filled, int(at[0]), int(at[-1]) + 1)
    (line,) = [one for one in figure["data"] if one.get("name") not in (None, "middle")]
    shown = figure["times"][line["x"]]
    assert len(shown) <= POINTS + 2
    assert line["y"].count(None) == 1
    piece = int(np.median(np.diff([int(moment) for moment in _ms(shown) if moment])))
    first = at // piece == at[0] // piece
    assert line["y"][0] == pytest.approx(values[first].mean(), abs=5e-4)


def _ms(texts: list[str]) -> list[int]:
    return [int(at) for at in np.array(texts, dtype="datetime64[ms]").astype(np.int64)]


def test_a_short_view_shows_single_shots(filled: Store) -> None:
    at, values = times(), cushions()
    figure = view(filled, int(at[100]), int(at[140]))
    assert heights(figure) == values[100:140].tolist()


def test_every_marked_stretch_shows_however_many_there_are(filled: Store) -> None:
    at = times()
    from_ms, to_ms = int(at[0]), int(at[-1]) + 1
    near = (to_ms - from_ms) // 300
    with filled.read() as connection:
        press_id = need_press(connection, "V1").press_id
        found = finding_stretches(connection, press_id, from_ms=from_ms, to_ms=to_ms, near_ms=near)
        inside = finding_stretches(
            connection, press_id, from_ms=int(at[41]), to_ms=int(at[50]), near_ms=CYCLE
        )
    assert len(found) <= 302
    assert (min(one[2] for one in found), max(one[3] for one in found)) == (at[0], at[SHOTS - 3])
    # The one that began at shot 40 reaches into the stretch.
    assert sorted(one[2:] for one in inside) == [(at[i], at[i + 1]) for i in (40, 44, 48)]


def test_a_long_view_says_where_most_shots_lay(filled: Store) -> None:
    at, values = times(), cushions()
    figure = view(filled, int(at[0]), int(at[-1]) + 1)
    (middle,) = [one for one in figure["data"] if one.get("name") == "middle"]
    shown = figure["times"][middle["x"]]
    assert 30 < len(shown) <= POINTS + 2
    # The pause breaks the line, and nothing else is missing: the newest hour has no sketch of its own.
    assert middle["y"].count(None) == 1
    begins = np.array(
        [moment for moment in _ms([text for text, y in zip(shown, middle["y"], strict=True) if y])]
    )
    piece = int(np.median(np.diff(begins)))
    for place in (0, 20, -1):
        mine = values[np.abs(at - begins[place]) <= piece // 2]
        known = [y for y in middle["y"] if y is not None]
        assert known[place] == pytest.approx(np.median(mine), abs=0.006)
        low, high = [pair for pair in middle["customdata"] if pair[0] is not None][place]
        assert (low, high) == pytest.approx(tuple(np.quantile(mine, (0.05, 0.95))), abs=0.011)


def test_where_most_shots_lay_is_not_known_of_earlier_summaries(filled: Store) -> None:
    filled.write(lambda connection: connection.execute(sa.update(rollups).values(sketch=None)))
    at = times()
    figure = view(filled, int(at[0]), int(at[-1]) + 1)
    (middle,) = [one for one in figure["data"] if one.get("name") == "middle"]
    assert set(middle["y"]) == {None}
    assert min(heights(figure)) == 1.25
