"""Descriptions in the document of the API: which operation has which explained fields, and where."""

from collections.abc import Mapping
from typing import Any, Final

from fastapi import FastAPI

from server.words.help_api import field_text

_INDICES: Final = (
    "stability", "phi", "sigma_within", "sigma_total", "cp", "cpk", "pp", "ppk", "cpm", "percentile",
    "normality", "ppm", "ppm_observed",
)  # fmt: skip
_OF_MOLD: Final = tuple(f"items[].{name}" for name in (*_INDICES, "n_effective"))

#: Operation → paths of the fields in its answer; `[]` stands for the items of a list.
ANSWERS: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("get", "/api/v1/presses"): ("items[].leak_likelihood", "items[].leading_cause"),
    ("get", "/api/v1/presses/{press}"): ("leak_likelihood", "leading_cause"),
    ("get", "/api/v1/presses/{press}/leak"): (
        "likelihood", "log_odds", "prior_log_odds", "onset", "causes", "evidence", "estimates.leak.lost_mm",
        "estimates.leak.lost_cm3", "estimates.leak.flow_cm3_s", "estimates.leak.gap_mm", "estimates.run_out",
    ),
    ("get", "/api/v1/presses/{press}/leak/history"): (
        "items[].likelihood", "items[].log_odds", "items[].prior_log_odds", "items[].terms",
        "items[].causes",
    ),
    ("get", "/api/v1/presses/{press}/containment"): ("likelihood", "onset"),
    ("get", "/api/v1/presses/{press}/findings"): ("items[].rule", "items[].signal"),
    ("get", "/api/v1/molds/{mold}/capability"): _OF_MOLD,
    ("post", "/api/v1/maths/capability"): _INDICES,
    ("post", "/api/v1/maths/run-rules"): ("findings[].rule",),
    ("get", "/api/v1/alarms"): ("items[].kind", "items[].cause"),
    ("get", "/api/v1/alarms/{alarm_id}"): ("kind", "cause"),
}  # fmt: skip

#: The same for what is sent.
BODIES: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("post", "/api/v1/maths/run-rules"): ("rules",),
    ("post", "/api/v1/maths/capability"): ("phi",),
}


def describe(document: dict[str, Any]) -> dict[str, Any]:
    """The document with the descriptions put in; it is changed in place."""
    for (method, path), fields in ANSWERS.items():
        answer = document["paths"][path][method]["responses"]["200"]
        for field in fields:
            _put(answer["content"]["application/json"].setdefault("schema", {}), field)
    for (method, path), fields in BODIES.items():
        body = document["paths"][path][method]["requestBody"]
        for field in fields:
            _put(body["content"]["application/json"]["schema"], field)
    return document


def _put(schema: dict[str, Any], path: str) -> None:
    """Describe the field at a path; what leads there is made where it is missing."""
    for step in path.split("."):
        schema = schema.setdefault("properties", {}).setdefault(step.removesuffix("[]"), {})
        if step.endswith("[]"):
            schema.setdefault("type", "array")
            schema = schema.setdefault("items", {})
    schema["description"] = field_text(path.rpartition(".")[2])


def install(app: FastAPI) -> None:
    """Let the document of the app carry the descriptions."""
    made = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            describe(made())
        return made()

    app.openapi = openapi  # type: ignore[method-assign]  # as the framework says it is done
