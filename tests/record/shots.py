"""Shots to put into a database, with numbers that are known."""

from typing import Any

import numpy as np
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS
from server.store.plant import Press, Setup, keep_setup, setup_digest
from server.store.shots import store_shots

CYCLE_MS = 20_000


def made(
    connection: sa.Connection,
    press: Press,
    n: int,
    *,
    start_ms: int,
    mold: str = "M-113",
    material: str = "PP",
    setup: str = "S1",
    lag: int = 0,
    quality: dict[int, str] | None = None,
    seed: int = 7,
) -> list[tuple[Any, ...]]:
    """n shots: cushion 6 mm, swept stroke 74 mm with 0.05 mm scatter, shot size with 0.3 mm."""
    chance = np.random.default_rng(seed)
    size = 80.0 + 0.3 * chance.standard_normal(n)
    dose = np.concatenate((size[:1], size[:-1])) if lag else size
    cushion = dose - 74.0 + 0.05 * chance.standard_normal(n)
    digest = setup_digest(mold, material, setup, "{}")
    keep_setup(connection, Setup(press.press_id, digest, mold, material, setup, "{}", start_ms))
    rows = []
    for i in range(n):
        values: dict[str, Any] = {
            "shot_size_mm": round(float(size[i]), 2),
            "cushion_mm": round(float(cushion[i]), 2),
            "cycle_time_s": 20.0,
            "quality": (quality or {}).get(i),
        }
        rows.append((start_ms + i * CYCLE_MS, i + 1, digest, *(values.get(name) for name in SHOT_COLUMNS)))
    store_shots(connection, press.press_id, rows)
    return rows
