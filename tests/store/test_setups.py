"""When set-ups ran, on both databases."""

import sqlalchemy as sa

from server.store.database import Store
from server.store.evaluation import DAY
from server.store.plant import Setup, keep_setup, need_press, put_press
from server.store.setups import SetupDays, days_of_setups, mold_ran_between
from server.store.tables import rollups

DAY_MS = 86_400_000


def test_days_of_set_ups_and_what_ran_between(any_store: Store) -> None:
    def fill(c: sa.Connection) -> int:
        put_press(c, "P07", {}, now_ms=0)
        press_id = need_press(c, "P07").press_id
        for setup_id, mold in ((1, "M-A"), (2, "M-B")):
            keep_setup(c, Setup(press_id, setup_id, mold, "PP", "", "{}", 0))
        for day, setup_id, swept, cushion in ((1, 1, 90, 100), (2, 2, 50, 40), (3, 1, 10, 10)):
            for signal, n in (("swept_mm", swept), ("cushion_mm", cushion)):
                row = {"n": n, "mean": 1.0, "m2": 0.0, "low": 1.0, "high": 1.0}
                of = {"press_id": press_id, "grain": DAY, "setup_id": setup_id, "signal": signal}
                c.execute(sa.insert(rollups).values(bucket_ms=day * DAY_MS, **of, **row))
        return press_id

    press_id = any_store.write(fill)
    with any_store.read() as c:
        # A signal may be missing in some shots: a day's shots are those of the signal that has most.
        assert days_of_setups(c, press_id) == [
            SetupDays(1, DAY_MS, 3 * DAY_MS, 110),
            SetupDays(2, 2 * DAY_MS, 2 * DAY_MS, 50),
        ]
        assert mold_ran_between(c, press_id, mold="M-A", since_ms=DAY_MS + 5) == "M-B"
        assert mold_ran_between(c, press_id, mold="M-A", since_ms=3 * DAY_MS) == ""
        assert mold_ran_between(c, press_id, mold="M-B", since_ms=0) == "M-A"
