"""A running server tells watchdogs how it is, in numbers, and every log line of which request it is."""

import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.faults.plant import Plant, Press, wait_for


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    settings = {"RINGTELL_LOG_FORMAT": "json", "RINGTELL_LOG_LEVEL": "info"}
    plant = Plant(tmp_path_factory.mktemp("watched"), settings=settings)
    plant.served.start()
    sender = plant.sender()
    for code in ("P01", "P02"):
        sender.send_until_answered(Press(code, shots=60, seed=3).shots(60))
    plant.wait_until_evaluated("P01", "P02")
    yield plant
    plant.end()


def numbers(plant: Plant) -> dict[str, float]:
    text = httpx.get(f"{plant.address}/metrics", timeout=20, trust_env=False).text
    found: dict[str, float] = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            labels = ",".join(f"{key}={value}" for key, value in sorted(sample.labels.items()))
            found[sample.name + (f"{{{labels}}}" if labels else "")] = sample.value
    return found


def test_it_is_alive_and_ready_and_says_what_that_means(watched: Plant) -> None:
    assert watched.ask("/healthz") == {"status": "ok"}
    wait_for(watched.ready, what="ready")
    assert watched.ask("/readyz") == {
        "status": "ok",
        "checks": {"database": "ok", "writer": "ok", "evaluation": "ok", "ticks": "ok"},
    }


def test_numbers_tell_rates_lags_and_queues(watched: Plant) -> None:
    found = numbers(watched)
    assert found["ringtell_ingest_rows_total{outcome=stored}"] == 120
    assert found["ringtell_ingest_lag_seconds_count"] == 2
    assert found["ringtell_ingest_lag_seconds_sum"] > 0
    assert found["ringtell_evaluation_seconds_count"] >= 2
    assert found["ringtell_evaluation_lag_seconds"] == 0
    assert found["ringtell_presses"] == 2
    assert found["ringtell_intake_rows"] == 0
    assert found["ringtell_messages_waiting"] == 0
    assert found["ringtell_writes_waiting"] == 0
    assert found["ringtell_database_bytes"] > 10_000
    assert found["ringtell_request_seconds_count{route=/api/v1/shots,status=2xx}"] == 2
    assert found["process_open_fds"] > 5


def test_moves_of_alarms_are_counted(watched: Plant) -> None:
    shots = Press("P03", shots=60, seed=3).shots(12)
    for shot in shots[6:]:
        shot["cushion_mm"] = 0.0
    watched.sender().send_until_answered(shots)
    watched.wait_until_evaluated("P03")
    wait_for(
        lambda: numbers(watched).get("ringtell_alarm_changes_total{action=opened}", 0) >= 1,
        what="an opened alarm is counted",
    )
    assert numbers(watched)["ringtell_alarms_total_by_kind{kind=bottoming}"] == 1


def test_labels_stay_few_whatever_is_called(watched: Plant) -> None:
    before = len(numbers(watched))
    for i in range(12):
        httpx.get(f"{watched.address}/presses/X{i}", timeout=20, trust_env=False)
        httpx.get(f"{watched.address}/api/v1/presses/X{i}?a={i}", timeout=20, trust_env=False)
        httpx.get(f"{watched.address}/nowhere/{i}", timeout=20, trust_env=False)
    added = len(numbers(watched)) - before
    # Three routes more, each a class or two of status, with the buckets of a histogram.
    assert added <= 6 * 14


def test_every_answer_carries_the_id_its_log_lines_have(watched: Plant) -> None:
    fresh = httpx.get(f"{watched.address}/api/v1/presses", timeout=20, trust_env=False)
    assert len(fresh.headers["X-Request-Id"]) == 16
    given = httpx.get(
        f"{watched.address}/api/v1/presses/NONE", timeout=20, trust_env=False,
        headers={"X-Request-Id": "line-7.a"},
    )  # fmt: skip
    assert (given.status_code, given.headers["X-Request-Id"]) == (404, "line-7.a")
    lines = [json.loads(line) for line in watched.served.log.read_text().splitlines() if line.startswith("{")]
    (told,) = [line for line in lines if line.get("request_id") == "line-7.a"]
    assert (told["status"], told["method"], told["level"]) == (404, "GET", "info")
    assert told["route"] == "/api/v1/presses/{press}"
    assert told["ms"] > 0
    assert {line["logger"] for line in lines} >= {"ringtell.request"}


@pytest.mark.parametrize("forged", ["a b", "x" * 65, "a\tb", "{{7*7}}", "é"])
def test_an_id_that_could_forge_a_log_line_is_replaced(watched: Plant, forged: str) -> None:
    answer = httpx.get(
        f"{watched.address}/healthz", timeout=20, trust_env=False,
        headers={b"X-Request-Id": forged.encode("latin-1")},
    )  # fmt: skip
    assert answer.headers["X-Request-Id"] != forged
    assert len(answer.headers["X-Request-Id"]) == 16


def test_refusals_have_an_id_too(watched: Plant) -> None:
    answer = httpx.get(
        f"{watched.address}/", timeout=20, trust_env=False, headers={"Host": "elsewhere.example"}
    )
    assert answer.status_code == 403
    assert answer.headers["X-Request-Id"]


def test_a_stop_that_was_asked_for_ends_with_code_0(tmp_path: Path) -> None:
    plant = Plant(tmp_path)
    plant.served.start()
    try:
        plant.sender().send_until_answered(Press("P01", shots=5, seed=1).shots(5))
        assert plant.served.stop() == 0
    finally:
        plant.end()
    plant.check_ledger()
    assert not (tmp_path / "plant.db-wal").exists() or (tmp_path / "plant.db-wal").stat().st_size == 0
