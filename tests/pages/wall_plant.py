"""A plant with as many presses as a wall screen is asked to show, some of them not as usual."""

from pathlib import Path

import sqlalchemy as sa

from server.store import tables as t
from server.store.database import Store
from server.store.plant import put_press
from tests.pages.plant import DAY, NOW, _judge, make_empty


def many_presses(folder: Path, count: int, *, loud: int = 0, silent: int = 0) -> Store:
    """`loud` presses have an alarm that waits, `silent` others have sent nothing for two hours."""
    store = make_empty(folder)

    def fill(connection: sa.Connection) -> None:
        for number in range(1, count + 1):
            press = f"W{number:03}"
            put_press(
                connection, press, {"name": "Long-tailed duck", "area": f"Hall {number % 2}"}, now_ms=NOW
            )
            quiet = loud < number <= loud + silent
            _judge(connection, number, press, "M-1", NOW - (7_200_000 if quiet else 5_000))
            if number <= loud:
                urgency = ("now", "this_shift", "this_week")[number % 3]
                connection.execute(
                    sa.insert(t.alarms).values(
                        press_id=number, alarm_no=1, kind="leak", state="unacknowledged",
                        urgency=urgency, cause="steady_leak", opened_ms=NOW - DAY, since_ms=NOW - DAY,
                        active=True, open_mark=1,
                    )
                )  # fmt: skip

    store.write(fill)
    return store
