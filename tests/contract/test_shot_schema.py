"""The published schema of a shot says what the reader takes, and the published examples are read so."""

import json
from pathlib import Path
from typing import Any

import pytest

from server import contract
from server.errors import RingtellError
from server.ingest.bounds import RANGES
from server.ingest.documents import EXTRA_MAX, ZONES_MAX
from server.ingest.labels import LENGTHS
from server.ingest.rows import COUNTER_MAX
from server.settings import outside
from tests.contract.schema import faults
from tests.ingest.bodies import CSV, JSON, NDJSON, read

SHARED = outside("shared")
SCHEMA: dict[str, Any] = json.loads((SHARED / "shot.schema.json").read_text(encoding="utf-8"))
SHOT: dict[str, Any] = SCHEMA["$defs"]["shot"]["properties"]
VALID = sorted((SHARED / "examples" / "valid").iterdir())
INVALID = sorted((SHARED / "examples" / "invalid").iterdir())
FORMS = {".json": JSON, ".ndjson": NDJSON, ".csv": CSV}


def inches(body: Any) -> bool:
    """The schema's bounds are those of stored units: a batch in others is not held to them."""
    return isinstance(body, dict) and bool(body.get("units"))


def test_the_schema_has_every_field_and_no_other() -> None:
    assert set(SHOT) == {"counter", "at", *contract.LABELS, *contract.SHOT_COLUMNS}
    assert set(SCHEMA["$defs"]["batch"]["properties"]) == {*contract.LABELS, "units", "shots"}


def test_the_schema_has_the_bounds_of_the_reader() -> None:
    for name, (low, high, unit) in RANGES.items():
        assert (SHOT[name]["minimum"], SHOT[name]["maximum"], SHOT[name]["x-unit"]) == (low, high, unit)
    for name, length in LENGTHS.items():
        place = SCHEMA["$defs"]["code"] if name in ("press", "mold") else SHOT[name]
        assert place["maxLength"] == length
    assert SHOT["counter"]["maximum"] == COUNTER_MAX
    assert SHOT["zone_temps_c"]["maxItems"] == ZONES_MAX
    assert SHOT["extra"]["maxProperties"] == EXTRA_MAX
    assert SCHEMA["$defs"]["points"]["maxItems"] == contract.CURVE_POINTS_MAX
    assert [q for q in SHOT["quality"]["enum"] if q] == list(contract.QUALITIES)
    named = {q: s["enum"] for q, s in SCHEMA["$defs"]["units"]["properties"].items()}
    assert named == {quantity: list(units) for quantity, units in contract.UNITS.items()}


@pytest.mark.parametrize("path", VALID, ids=lambda p: p.name)
def test_valid_examples_are_taken_whole(path: Path) -> None:
    batch = read(path.read_bytes(), FORMS[path.suffix])
    assert batch.received >= 1
    assert not batch.rejected
    if path.suffix == ".json":
        body = json.loads(path.read_text(encoding="utf-8"))
        assert [f for f in faults(body, SCHEMA, SCHEMA) if not inches(body)] == []


@pytest.mark.parametrize("path", INVALID, ids=lambda p: p.name)
def test_invalid_examples_are_refused_with_their_code(path: Path) -> None:
    example = json.loads(path.read_text(encoding="utf-8"))
    expected = example["expect"]
    assert example["about"].endswith(".")
    if expected["status"] == 200:
        (apart,) = read(example["body"]).rejected
        assert (apart.code, apart.field) == (expected["code"], expected["field"])
    else:
        with pytest.raises(RingtellError) as caught:
            read(example["body"])
        error = caught.value
        assert [error.status, error.code, error.field] == [expected[k] for k in ("status", "code", "field")]
    assert bool(list(faults(example["body"], SCHEMA, SCHEMA))) is example["schema_finds_it"]


def test_there_are_examples_of_every_kind() -> None:
    assert {path.suffix for path in VALID} == set(FORMS)
    codes = {json.loads(path.read_text(encoding="utf-8"))["expect"]["code"] for path in INVALID}
    assert {"missing", "out_of_range", "wrapped_negative", "in_the_future", "bad_body"} <= codes
