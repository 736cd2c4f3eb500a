"""One plant on SQLite and on PostgreSQL: what is stored is equal to the bit, and every answer the same."""

import contextlib
import dataclasses
import re
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from server.app import Objects, build_app, build_objects
from server.settings import Settings
from tests.evaluate.history import START_MS, Bringing, record_of, shots_of

PRESSES = ("G1", "G2")
NOW_MS = START_MS + 40 * 86_400_000
#: Answers about this process or this database file, not about the plant.
_OF_THE_SERVER = re.compile(r"/(stream|healthz|readyz|metrics)$")


@dataclasses.dataclass
class Plant:
    objects: Objects
    client: httpx.AsyncClient

    async def answers(self) -> dict[str, tuple[int, Any]]:
        """Every GET of the API that needs no more than a press, a mold or a number."""
        found = {}
        described = (await self.client.get("/openapi.json")).json()["paths"]
        for path in sorted(path for path, acts in described.items() if "get" in acts):
            if not path.startswith("/api/v1/") or _OF_THE_SERVER.search(path):
                continue
            for press in PRESSES:
                asked = path.replace("{press}", press).replace("{mold}", "M-1")
                asked = re.sub(r"\{\w*(no|number|id)\}", "1", asked)
                if "{" in asked:
                    continue
                answer = await self.client.get(asked, params={"signal": "cushion_mm"})
                found[asked] = (answer.status_code, answer.text)
        return found


@contextlib.asynccontextmanager
async def golden_plant(url: str) -> AsyncIterator[Plant]:
    settings = Settings(database_url=url, no_login=True, child_process=False)
    objects = build_objects(settings, now_ms=lambda: NOW_MS)
    for number, press in enumerate(PRESSES):
        shots = shots_of(press, seed=11 + number)
        bringing = Bringing(objects.store, press, record_of(shots))
        # Brought late and out of order, the first half once more, as gateways do.
        for part in (shots[300:], shots[:300], shots[:150]):
            bringing.bring(part)
            objects.pipeline.evaluate_all()
        bringing.approve(shots)
        bringing.note_setting(shots)
        bringing.note_checks(shots)
        objects.pipeline.evaluate_all()
    objects.pipeline.tick()
    transport = httpx.ASGITransport(build_app(objects, run_pipeline=False))
    try:
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            yield Plant(objects, client)
    finally:
        objects.pipeline.close()
        objects.store.close()


def bits(plant: Plant) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for press in PRESSES:
        bringing = Bringing(plant.objects.store, press, {})
        found |= {f"{press} {name}": rows for name, rows in bringing.results().items()}
    return found


@pytest.mark.anyio
async def test_both_databases_hold_the_same_bits_and_give_the_same_answers(
    sqlite_url: str, postgresql_url: str
) -> None:
    async with golden_plant(sqlite_url) as embedded, golden_plant(postgresql_url) as served:
        stored, same = bits(embedded), bits(served)
        for name, rows in stored.items():
            assert rows == same[name], name
        assert len(stored["G1 scores"]) > 5
        assert stored["G1 findings"]
        answers, others = await embedded.answers(), await served.answers()
    assert list(answers) == list(others)
    differing = {path: (answers[path], others[path]) for path in answers if answers[path] != others[path]}
    assert differing == {}
    good = [path for path, (status, _) in answers.items() if status == 200]
    # Enough of them really answered, alarms, findings and scores among them.
    assert len(good) >= 40, good
    for part in ("/alarms", "/presses/G1/findings", "/presses/G2/shots"):
        assert any(path.startswith(f"/api/v1{part}") for path in good), part
