"""The maths calls: the shapes promised, published figures through HTTP, and nonsense refused."""

import asyncio
import json
import math
import random
from typing import Any

import httpx
import pytest
from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import RingtellError
from server.routes.maths import router

X = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
ASKS: dict[str, dict[str, Any]] = {
    "individuals": {"values": X},
    "xbar": {"values": [X[:5], X[5:]]},
    "ewma": {"values": X, "lambda": 0.2, "L": 3, "target": 50, "sigma": 2, "limits": "steady"},
    "cusum": {"values": X, "target": 50, "sigma": 2, "k": 0.5, "h": 5},
    "run-rules": {
        "values": X,
        "center": 50,
        "sigma": 2,
        "rules": ["beyond_limit", {"rule": "one_side", "n": 9}],
    },
    "capability": {"values": X, "lower": 40, "upper": 60, "target": 50},
    "arl": {"chart": "shewhart", "rules": ["beyond_limit"], "shift": 0},
}


def plant() -> FastAPI:
    app = FastAPI()
    app.include_router(router)

    @app.exception_handler(RingtellError)
    async def problem(_: Request, trouble: RingtellError) -> JSONResponse:
        body = {"code": trouble.code, "detail": trouble.message, "field": trouble.field}
        return JSONResponse(body, status_code=trouble.status)

    return app


APP = plant()


def post(name: str, body: Any) -> tuple[int, Any]:
    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(app=APP)
        async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
            content = json.dumps(body)
            headers = {"content-type": "application/json"}
            return await client.post(f"/api/v1/maths/{name}", content=content, headers=headers)

    answer = asyncio.run(ask())
    return answer.status_code, answer.json()


@pytest.mark.parametrize(
    ("name", "fields"),
    [
        ("individuals", "mean mr_bar sigma ucl lcl mr_ucl signals"),
        ("xbar", "mean r_bar s_bar ucl lcl"),
        ("ewma", "z ucl lcl signals"),
        ("cusum", "high low signals"),
        ("run-rules", "findings"),
        (
            "capability",
            "n mean sigma_within sigma_total cp cpk pp ppk cpm cp_interval cpk_interval pp_interval "
            "ppk_interval cpm_interval percentile normality",
        ),
        ("arl", "arl method"),
    ],
)
def test_each_call_answers_with_the_promised_names(name: str, fields: str) -> None:
    status, body = post(name, ASKS[name])
    assert status == 200, body
    assert set(fields.split()) <= set(body)


def test_individuals_are_the_textbook_ones_by_default() -> None:
    _, body = post("individuals", ASKS["individuals"])
    assert (round(body["mean"], 2), round(body["ucl"], 4), round(body["lcl"], 4)) == (50.81, 55.8041, 45.8159)
    _, exact = post("individuals", {**ASKS["individuals"], "d2": "exact"})
    assert exact["ucl"] == pytest.approx(55.802412, abs=1e-6)


def test_rounding_aware_sigma_is_given_when_asked_for() -> None:
    tight = [12.34] * 40 + [12.35] * 10
    _, plain = post("individuals", {"values": tight})
    _, aware = post("individuals", {"values": tight, "rounding": True})
    assert aware["step"] == 0.01
    assert aware["sigma"] > 0.01 / math.sqrt(12) * 0.999 > plain["sigma"]


def test_arl_of_three_sigma_limits() -> None:
    _, body = post("arl", ASKS["arl"])
    assert body["arl"] == pytest.approx(370.398, abs=0.001)
    assert body["method"] == "markov_chain"


@pytest.mark.parametrize(
    ("ask", "arl", "within"),
    [
        ({"chart": "ewma", "lambda": 0.1, "L": 2.814, "shift": 1}, 10.331, 0.001),
        ({"chart": "cusum", "k": 0.5, "h": 5, "headstart": 2.5, "shift": 0.5}, 28.6658, 0.001),
        ({"chart": "cusum", "k": 0.5, "h": 4, "two_sided": False}, 335.36758, 0.001),
        ({"chart": "individuals_mr", "x_limit": 3, "mr_limit": 4}, 169.062, 0.01),
        ({"chart": "individuals_mr", "x_limit": 3, "mr_limit": None, "phi": 0.5}, 396.281, 0.01),
        ({"chart": "individuals_mr"}, 105.331, 0.01),
        ({"chart": "shewhart", "rules": [{"rule": "steady_trend", "n": 7}]}, 2881.8519, 0.001),
    ],
)
def test_arl_of_each_chart(ask: dict[str, Any], arl: float, within: float) -> None:
    _, body = post("arl", ask)
    assert body["arl"] == pytest.approx(arl, abs=within)


def test_an_arl_beyond_all_bounds_is_said_to_be_so() -> None:
    status, body = post("arl", {"chart": "cusum", "h": 50})
    assert status == 200
    assert body["arl"] is None
    assert "run length" in body["reason"]


def test_findings_name_rule_and_points() -> None:
    ask = {"values": [0, 0, 4, 0], "center": 0, "sigma": 1, "rules": ["beyond_limit"]}
    assert post("run-rules", ask)[1] == {"findings": [{"rule": "beyond_limit", "index": 2, "from_index": 2}]}
    run = {"values": [1.0] * 18, "center": 0, "sigma": 1, "rules": ["one_side"], "history": "clear"}
    assert [f["index"] for f in post("run-rules", run)[1]["findings"]] == [8, 17]
    run["history"] = "mark"
    assert [f["index"] for f in post("run-rules", run)[1]["findings"]] == list(range(8, 18))


@pytest.mark.parametrize("name", list(ASKS))
@pytest.mark.parametrize(
    "wrong",
    [
        {"values": ["x"], "shift": "far"},
        {"values": [[1.0, "x"]], "shift": True},
        {"values": [math.nan, 1.0], "shift": math.nan},
        {"values": [math.inf, 1.0], "shift": math.inf},
        {"values": [1e200, -1e200], "shift": 1e200},
        {"values": [10**400, 1], "shift": 10**400},
        {"values": [True, False], "shift": False},
        {"values": None, "shift": None},
        {"values": {}, "shift": []},
        {"values": [], "shift": 99.0},
        {"no_such_name": 1},
    ],
)
def test_nonsense_is_refused_with_a_reason(name: str, wrong: dict[str, Any]) -> None:
    status, body = post(name, {**ASKS[name], **wrong})
    assert 400 <= status < 500
    assert body["detail"]


@pytest.mark.parametrize("body", [[], "x", 3, None])
def test_a_body_that_is_no_object_is_refused(body: Any) -> None:
    assert post("arl", body)[0] == 422


@pytest.mark.parametrize(
    ("name", "wrong", "words"),
    [
        ("ewma", {"lambda": 0}, ("lambda", "greater than 0", "0")),
        ("ewma", {"lambda": 1.5}, ("lambda", "1.5")),
        ("ewma", {"sigma": -1}, ("sigma", "-1")),
        ("cusum", {"headstart": 9}, ("headstart", "9", "5")),
        ("cusum", {"h": 0}, ("h", "0")),
        ("run-rules", {"rules": ["sideways"]}, ("rule", "sideways", "beyond_limit")),
        ("run-rules", {"rules": [{"rule": "one_side", "n": 1}]}, ("one_side", "2", "100", "1")),
        ("run-rules", {"rules": []}, ("rules",)),
        ("run-rules", {"sigma": 0}, ("sigma", "0")),
        ("capability", {"lower": 60, "upper": 40}, ("lower", "60", "40")),
        ("capability", {"lower": None, "upper": None}, ("lower", "upper")),
        ("capability", {"confidence": 95}, ("confidence", "95")),
        ("capability", {"subgroup": 0}, ("subgroup", "0")),
        ("xbar", {"values": [[1, 2], [1, 2, 3]]}, ("values", "[2, 3]")),
        ("arl", {"chart": "pie"}, ("chart", "pie", "shewhart")),
        ("arl", {"shift": 50}, ("shift", "50", "20")),
        ("arl", {"phi": 1}, ("phi", "0.95", "1")),
        ("arl", {"chart": "ewma", "L": 0.01}, ("L", "0.1", "0.01")),
    ],
)
def test_errors_name_argument_value_and_bound(
    name: str, wrong: dict[str, Any], words: tuple[str, ...]
) -> None:
    status, body = post(name, {**ASKS[name], **wrong})
    assert status == 422, body
    assert body["field"]
    for word in words:
        assert word in body["detail"]


def test_too_many_values_are_refused() -> None:
    status, body = post("individuals", {"values": [0.0] * 200_001})
    assert status == 413
    assert "200000" in body["detail"]


def test_the_schema_document_describes_the_bodies() -> None:
    paths = APP.openapi()["paths"]
    assert len(paths) == len(ASKS)
    for name in ASKS:
        schema = paths[f"/api/v1/maths/{name}"]["post"]["requestBody"]["content"]["application/json"]
        assert schema["schema"]["properties"]
    ewma = paths["/api/v1/maths/ewma"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert "lambda" in ewma["properties"]


PARAMETERS = sorted({k for ask in ASKS.values() for k in ask} - {"values", "rules", "chart", "limits"})
EXTREME = st.one_of(
    st.sampled_from([0.0, 1.0, -1.0, 1e-300, 1e100, -1e100, 1e-9, 5e15, 3, 10**18]), st.floats(-1e100, 1e100)
)


@given(
    name=st.sampled_from(sorted(ASKS)),
    values=st.lists(EXTREME, max_size=12),
    change=st.dictionaries(
        st.sampled_from(PARAMETERS),
        EXTREME,
        max_size=3,
    ),
)
@settings(max_examples=150, deadline=None)
def test_no_number_whatever_breaks_a_call(name: str, values: list[float], change: dict[str, float]) -> None:
    ask = {**ASKS[name], **{k: v for k, v in change.items() if k in ASKS[name]}}
    if name == "xbar":
        ask["values"] = [values, values[::-1]]
    elif name != "arl":
        ask["values"] = values
    status, body = post(name, ask)
    assert status in (200, 413, 422)
    if status == 200:
        # A second writing fails on anything JSON does not know.
        json.dumps(body, allow_nan=False)


@given(
    chart=st.sampled_from(["ewma", "cusum", "individuals_mr", "shewhart"]),
    numbers=st.fixed_dictionaries(
        {},
        optional={
            "lambda": st.floats(0, 1),
            "L": st.floats(0, 12),
            "k": st.floats(0, 12),
            "h": st.floats(0, 60),
            "x_limit": st.floats(0, 11),
            "mr_limit": st.floats(0, 22),
            "shift": st.floats(-25, 25),
        },
    ),
)
@settings(max_examples=60, deadline=None)
def test_run_lengths_are_at_least_one_or_a_reason(chart: str, numbers: dict[str, float]) -> None:
    status, body = post("arl", {"chart": chart, **numbers})
    assert status in (200, 422)
    if status == 200:
        assert body["reason"] if body["arl"] is None else body["arl"] >= 1.0


# --- stability, autocorrelation, and what cannot be said ------------------------------------


def wandering(phi: float, count: int) -> list[float]:
    dice, x, out = random.Random(7), 0.0, []
    for _ in range(count):
        x = phi * x + math.sqrt(1 - phi * phi) * dice.gauss(0, 1)
        out.append(50 + x)
    return out


def test_capability_tells_stability_first() -> None:
    _, body = post("capability", {"values": wandering(0.0, 200), "lower": 40, "upper": 60})
    assert next(iter(body)) == "stability"
    assert body["stability"] == {"stable": True, "text": "Stable over this stretch."}
    moved = [*wandering(0.0, 200), *(x + 3 for x in wandering(0.0, 200))]
    assert post("capability", {"values": moved, "lower": 40, "upper": 60})[1]["stability"]["stable"] is False
    assert post("capability", ASKS["capability"])[1]["stability"]["stable"] is None


def test_capability_intervals_widen_with_the_autocorrelation_told_or_measured() -> None:
    ask = {"values": wandering(0.6, 400), "lower": 40, "upper": 60}
    plain, told, measured = (post("capability", {**ask, "phi": phi})[1] for phi in (0.0, 0.6, "measured"))
    assert plain == post("capability", ask)[1]
    assert measured["phi"] == pytest.approx(0.6, abs=0.12)
    for name in ("cp_interval", "cpk_interval", "pp_interval", "ppk_interval", "cpm_interval"):
        widths = [one[name][1] - one[name][0] for one in (plain, told, measured)]
        # The moving range is worth more under positive autocorrelation, not less: Cp narrows.
        assert (widths[1] > 1.2 * widths[0]) == (name not in ("cp_interval", "cpk_interval"))
    assert plain["ppk"] == told["ppk"] == measured["ppk"]


@pytest.mark.parametrize("phi", [1, -1, 1.5, "much", None, True])
def test_an_impossible_phi_is_refused_by_name(phi: Any) -> None:
    status, body = post("capability", {**ASKS["capability"], "phi": phi})
    assert status == 422
    assert "phi" in body["detail"]
    assert repr(phi) in body["detail"] or str(phi) in body["detail"]


@pytest.mark.parametrize("values", [[5.0, 5.0], [5.0] * 60, [1e9] * 40])
def test_values_all_alike_are_answered_with_a_reason_and_no_index(values: list[float]) -> None:
    status, body = post("capability", {"values": values, "lower": 0, "upper": 1e10})
    assert status == 200
    assert "no scatter" in body["reason"]
    assert body["n"] == len(values)
    assert all(body[name] is None for name in ("cp", "cpk", "pp", "ppk", "cpm", "ppk_interval"))
    assert set(post("capability", ASKS["capability"])[1]) <= set(body)


def test_a_rule_asked_for_twice_is_named() -> None:
    ask = {**ASKS["run-rules"], "rules": ["one_side", "beyond_limit", "one_side"]}
    status, body = post("run-rules", ask)
    assert status == 422
    assert "one_side" in body["detail"]
