"""Messages of a real broker become shots; none is lost when the broker, or we, go away."""

import asyncio
import contextlib
import json
import ssl
from collections.abc import AsyncIterator, Callable, Coroutine, Mapping, Sequence
from pathlib import Path
from typing import Any

import aiomqtt
import msgspec
import pytest

from server.collect.forward import ForwardCounts
from server.collect.mqtt_collect import Broker, Subscriber
from server.collect.mqtt_mapping import load_mapping, read_mapping
from server.collect.mqtt_message import read_message
from server.collect.source import SourceState
from server.collect.spool import Spool, SpoolFullError
from server.settings import outside
from tests.collect.broker import Mosquitto
from tests.collect.opcua_press import until

PLAIN = read_mapping({"topic": "plant/imm/{press}/shot"})
OWN_WORDS = read_mapping(
    {
        "topic": "{lot}/imm/{press}/shot",
        "time_zone": "Europe/Berlin",
        "presses": {"imm-07": "P07"},
        "fields": {
            "counter": "cycle", "at": "ts", "mold": "mould", "cushion_mm": "values.cushion",
            "shot_size_mm": "values.dose", "fill_time_s": "values.fill", "quality": "quality",
            "zone_temps_c": "values.zones",
        },
        "units": {"length": "in", "fill_time_s": "ms", "temperature": "degF"},
        "quality": {"GOOD": "good"},
        "constants": {"material": "PP-DEMO"},
        "extra": {"job_cycle": "job_cycle"},
    }
)  # fmt: skip


def run(test: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(test())


def shots_in(spool: Spool) -> list[dict[str, Any]]:
    return [msgspec.json.decode(one.line) for one in spool.oldest(100_000)]


def counters_in(spool: Spool) -> list[int]:
    return [shot["counter"] for shot in shots_in(spool)]


def message(counter: int) -> dict[str, Any]:
    return {
        "counter": counter, "at": f"2026-04-01T06:{counter // 60:02}:{counter % 60:02}Z", "mold": "M-113",
        "shot_size_mm": 62.4, "cushion_mm": 6.1,
    }  # fmt: skip


async def publish(port: int, topic: str, documents: Sequence[Mapping[str, Any] | bytes], **more: Any) -> None:
    async with aiomqtt.Client("127.0.0.1", port, **more) as client:
        for document in documents:
            payload = document if isinstance(document, bytes) else json.dumps(document).encode()
            await client.publish(topic, payload, qos=1)


@contextlib.asynccontextmanager
async def collecting(
    broker: Broker, spool: Spool, mapping: Any = PLAIN, *, state: SourceState | None = None
) -> AsyncIterator[Subscriber]:
    """A subscriber that is connected. Leaving it cancels it: a kill as the broker sees it."""
    subscriber = Subscriber(
        broker, mapping, spool=spool, state=state or SourceState("mqtt-test", "mqtt"), seed=1
    )
    task = asyncio.create_task(subscriber.run(asyncio.Event()))
    try:
        await until(lambda: task.done() or subscriber.connections > 0)
        yield subscriber
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def at(port: int, **more: Any) -> Broker:
    return Broker("127.0.0.1", port, "ringtell-test", **more)


@pytest.mark.parametrize("version", [3, 5])
def test_messages_become_shots(spool: Spool, tmp_path: Path, version: int) -> None:
    async def test() -> None:
        async with collecting(at(broker.port, version=version), spool):
            await publish(broker.port, "plant/imm/P07/shot", [message(counter) for counter in range(1, 51)])
            await until(lambda: spool.state().waiting == 50)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    assert counters_in(spool) == list(range(1, 51))
    assert shots_in(spool)[0] == {**message(1), "press": "P07", "at": "2026-04-01T06:00:01.000Z"}


def test_a_plants_own_words_and_units_are_mapped(spool: Spool, tmp_path: Path) -> None:
    said = {
        "cycle": 120010, "job_cycle": 10, "ts": "2026-07-01T14:22:15.7", "mould": "M-4711", "quality": "GOOD",
        "values": {"cushion": 0.25, "dose": "2.5", "fill": 1190, "zones": [392.0, 410.0]},
    }  # fmt: skip

    async def test() -> None:
        async with collecting(at(broker.port), spool, OWN_WORDS):
            await publish(broker.port, "L-5/imm/imm-07/shot", [said])
            await until(lambda: spool.state().waiting == 1)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    (shot,) = shots_in(spool)
    assert shot["press"] == "P07"
    assert shot["lot"] == "L-5"
    assert shot["at"] == "2026-07-01T12:22:15.700Z"
    assert shot["cushion_mm"] == pytest.approx(6.35)
    assert shot["shot_size_mm"] == pytest.approx(63.5)
    assert shot["fill_time_s"] == pytest.approx(1.19)
    assert shot["zone_temps_c"] == pytest.approx([200.0, 210.0])
    assert (shot["quality"], shot["material"], shot["extra"]) == ("good", "PP-DEMO", {"job_cycle": 10})


def test_what_is_no_shot_is_kept_apart_and_holds_up_nothing(spool: Spool, tmp_path: Path) -> None:
    async def test() -> None:
        async with collecting(at(broker.port), spool):
            no_counter = {"at": "2026-04-01T06:00:00Z"}
            comma = {**message(2), "cushion_mm": "6,1"}
            bad: list[dict[str, Any] | bytes] = [b"{ half", no_counter, comma]
            await publish(broker.port, "plant/imm/P07/shot", [message(1), *bad, message(3)])
            await until(lambda: spool.state().waiting == 2)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    assert counters_in(spool) == [1, 3]
    apart = {one.code: one for one in spool.apart()}
    assert set(apart) == {"no_json", "no_counter", "not_a_number"}
    assert apart["no_json"].raw == "plant/imm/P07/shot { half"
    assert {one.press for one in apart.values()} == {"P07"}


def test_what_came_while_we_were_away_comes_afterwards(spool: Spool, tmp_path: Path) -> None:
    async def test() -> None:
        async with collecting(at(broker.port), spool):
            await publish(broker.port, "plant/imm/P07/shot", [message(1)])
            await until(lambda: spool.state().waiting == 1)
        await publish(broker.port, "plant/imm/P07/shot", [message(counter) for counter in range(2, 102)])
        async with collecting(at(broker.port), spool):
            await until(lambda: set(counters_in(spool)) == set(range(1, 102)), within_s=60)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    # Killed between disk and acknowledgement, the first may come twice: the server knows it again.
    assert sorted(counters_in(spool)[-100:]) == list(range(2, 102))


def test_nothing_is_acknowledged_before_it_is_on_disk(spool: Spool, tmp_path: Path) -> None:
    class Full:
        def __init__(self) -> None:
            self.asked = 0

        def append(self, shots: Sequence[Mapping[str, Any]]) -> None:
            self.asked += 1
            raise SpoolFullError("full")

    full = Full()

    async def test() -> None:
        async with collecting(at(broker.port), full):  # type: ignore[arg-type]  # a stand-in that refuses
            await publish(broker.port, "plant/imm/P07/shot", [message(1), message(2)])
            await until(lambda: full.asked > 0)
        async with collecting(at(broker.port), spool):
            await until(lambda: spool.state().waiting == 2)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    assert counters_in(spool) == [1, 2]


def test_a_broker_that_was_killed_is_found_again(spool: Spool, tmp_path: Path) -> None:
    state = SourceState("mqtt-test", "mqtt")

    async def test() -> None:
        async with collecting(at(broker.port), spool, state=state) as subscriber:
            await publish(broker.port, "plant/imm/P07/shot", [message(1)])
            await until(lambda: spool.state().waiting == 1)
            broker.kill()
            await until(lambda: "broker" in state.document(spool.state(), ForwardCounts())["trouble"])
            broker.start()
            await until(lambda: subscriber.connections > 1)
            await publish(broker.port, "plant/imm/P07/shot", [message(2)])
            await until(lambda: spool.state().waiting >= 2)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    assert sorted(set(counters_in(spool))) == [1, 2]


def test_the_same_message_twice_is_kept_once(spool: Spool, tmp_path: Path) -> None:
    async def test() -> None:
        async with collecting(at(broker.port), spool):
            again = {**message(2), "cushion_mm": 6.3}
            await publish(broker.port, "plant/imm/P07/shot", [message(1), message(1), message(2), again])
            await until(lambda: spool.state().waiting >= 3)
            await asyncio.sleep(0.3)

    with Mosquitto(tmp_path / "broker") as broker:
        run(test)
    # Another value under the same key is the server's to judge: it keeps the first and the raw row.
    assert counters_in(spool) == [1, 2, 2]


def test_tls_and_a_password(spool: Spool, tmp_path: Path) -> None:
    folder = tmp_path / "broker"

    async def test() -> None:
        ours = at(broker.port, tls=True, ca=folder / "broker.pem", user="mara", password="open sesame")
        async with collecting(ours, spool):
            context = ssl.create_default_context(cafile=str(folder / "broker.pem"))
            await publish(
                broker.port, "plant/imm/P07/shot", [message(1)],
                username="mara", password="open sesame", tls_context=context,
            )  # fmt: skip
            await until(lambda: spool.state().waiting == 1)

    with Mosquitto(folder, password_of=("mara", "open sesame"), tls=True) as broker:
        run(test)
    assert counters_in(spool) == [1]


def test_the_example_mapping_reads_the_message_it_shows() -> None:
    file = outside("shared") / "examples" / "mqtt.toml"
    mapping = load_mapping(file)
    text = file.read_text(encoding="utf-8")
    shown = next(line for line in text.splitlines() if line.startswith("# {"))
    shot = read_message("leipzig/imm/imm-07/shot", shown.removeprefix("# ").encode(), mapping)
    assert shot == {
        "press": "P07", "mold": "M-4711", "counter": 120010, "at": "2026-11-25T14:22:15.700Z",
        "cushion_mm": pytest.approx(7.366), "shot_size_mm": pytest.approx(62.23),
        "peak_pressure_bar": pytest.approx(820.0, abs=1.0), "recovery_time_s": pytest.approx(5.37),
        "quality": "good", "material": "PP-DEMO", "extra": {"job_cycle": 10},
    }  # fmt: skip
