"""Published capability cases, as shots in the database: the API and the mold's page give the printed numbers.

The cases and their sources stand in `tests/reference/capability.json`; here they are made into part weights
with exactly that mean and standard deviation, in an order without autocorrelation.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from numpy.typing import NDArray
from scipy.special import ndtri

from server.contract import SHOT_COLUMNS
from server.maths.baseline import PhaseOne, phase_one
from server.show.build_mold import build_mold
from server.show.frame import Actor
from server.show.plant_words import plant_at
from server.store.database import Store
from server.store.plant import Setup, keep_setup, need_press, put_mold, put_press, setup_digest
from server.store.shots import note_arrival, store_shots
from tests.contract.reading_plant import Plant

START, CYCLE = 1_775_023_200_000, 20_000
CASES = {
    one["id"]: one
    for one in json.loads((Path(__file__).parents[1] / "reference" / "capability.json").read_text())
}
#: NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2 give Cp 1.0, Cpu 0.6667, Cpl 1.3333, so that
#: Cpk is 0.6667; its interval at n = 50 is the case of the file with this value.
HANDBOOK = {"lower": 8.0, "upper": 20.0, "mean": 16.0, "s": 2.0, "n": 50, "pp": 1.0, "ppk": 0.6667}


def weights(n: int, *, mean: float, s: float) -> NDArray[np.float64]:
    """n values of normal shape with exactly this mean and s, in an order whose neighbours are unrelated."""
    scores = ndtri((np.arange(n) + 0.5) / n)
    scores = (scores - scores.mean()) / scores.std(ddof=1)
    best, least = scores, 2.0
    for seed in range(400):
        ordered = np.random.default_rng(seed).permutation(scores)
        found = phase_one(ordered)
        phi = found.phi if isinstance(found, PhaseOne) and found.phi is not None else 0.0
        if abs(phi) < least and (not isinstance(found, PhaseOne) or found.stable):
            best, least = ordered, abs(phi)
        if least < 0.004:
            break
    return np.asarray(mean + s * best)


def of_cpk(case: str) -> dict[str, Any]:
    """A mean so far from the upper limit as the index says; the lower one is too far to matter."""
    given = CASES[case]["inputs"]
    # From few values the exact interval is taken (noncentral t), from more Bissell's.
    exact = CASES[case]["computed"]["exact_Cpu_noncentral_t"]
    interval = exact if given["n"] < 30 else CASES[case]["expected"]["bissell"]
    return {
        "lower": 20.0, "upper": 50.0 + 3.0 * given["Cpk"], "mean": 50.0, "s": 1.0, "n": given["n"],
        "ppk": given["Cpk"], "interval": interval,
    }  # fmt: skip


MOLDS: dict[str, dict[str, Any]] = {
    "E-cp-chi2-montgomery": {
        "lower": 38.0, "upper": 62.0, "mean": 50.0, "s": 1.75, "n": 20, "pp": 2.29,
        "pp_interval": CASES["E-cp-chi2-montgomery"]["expected"]["ci"],
    },
    "handbook-6.1.6": {**HANDBOOK, "interval": CASES["E-cpk-0.6667-n50"]["expected"]["bissell"]},
    "E-cpk-1.33-n20": of_cpk("E-cpk-1.33-n20"),
    "E-cpk-1.33-n50": of_cpk("E-cpk-1.33-n50"),
    "E-cpk-1.67-n100": of_cpk("E-cpk-1.67-n100"),
}  # fmt: skip


def fill(c: sa.Connection) -> None:
    put_press(c, "K1", {"screw_diameter_mm": 45.0}, now_ms=START)
    press_id, at_ms = need_press(c, "K1").press_id, START
    for mold, case in MOLDS.items():
        limits = {"part_weight_g": {"lower": case["lower"], "upper": case["upper"]}}
        put_mold(c, mold, {"part": "lid", "limits": json.dumps(limits)}, now_ms=START)
        setup_id = setup_digest(mold, "PP", "", "{}")
        keep_setup(c, Setup(press_id, setup_id, mold, "PP", "", "{}", START))
        rows = []
        for weight in weights(case["n"], mean=case["mean"], s=case["s"]).tolist():
            at_ms += CYCLE
            cells = ({"part_weight_g": weight}.get(name) for name in SHOT_COLUMNS)
            rows.append((at_ms, at_ms // CYCLE, setup_id, *cells))
        store_shots(c, press_id, rows)
    note_arrival(c, press_id, last_shot_ms=at_ms, last_counter=at_ms // CYCLE, now_ms=at_ms)


@pytest.fixture(scope="module")
def plant(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    file = tmp_path_factory.mktemp("published") / "plant.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    store.write(fill)
    yield Plant(store)
    store.close()


@pytest.mark.parametrize("mold", MOLDS)
def test_a_published_case_comes_out_of_the_api_and_on_the_page(plant: Plant, mold: str) -> None:
    case = MOLDS[mold]
    (one,) = plant.get(f"/molds/{mold}/capability?signal=part_weight_g")["items"]
    assert one["n"] == case["n"]
    assert one["mean"] == pytest.approx(case["mean"], abs=1e-9)
    assert one["sigma_total"] == pytest.approx(case["s"], abs=1e-9)
    if "pp" in case:
        assert one["pp"] == pytest.approx(case["pp"], abs=0.0051)
    if "pp_interval" in case:
        assert one["pp_interval"] == pytest.approx(case["pp_interval"], abs=0.0055)
    if "ppk" in case:
        assert one["ppk"] == pytest.approx(case["ppk"], abs=5e-5)
        # What is left of autocorrelation in the order of the values moves the fourth decimal.
        assert one["ppk_interval"] == pytest.approx(case["interval"], abs=0.0005)
    with plant.objects.store.read() as c:
        page = build_mold(c, plant_at(c, now_ms=START + 10**9, actor=Actor()), mold=mold, stretch=None)
    assert page is not None
    (row,) = page.signals[0].lanes
    shown = {fact.name: fact.value for fact in row.facts}
    for name in ("pp", "ppk"):
        if name in case:
            assert shown[name.capitalize()].startswith(f"{case[name]:.2f} (")
