"""The pages of startup records and set-ups."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from server.routes.calls import code_of
from server.routes.pages import page_answer
from server.show.build_baseline_report import build_baseline_report
from server.show.build_baselines import build_baselines
from server.show.build_compare import build_compare
from server.show.build_setups import build_setups

router = APIRouter(include_in_schema=False)

Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/presses/{press}/baselines")
def baselines_page(request: Request, press: str) -> Response:
    press = code_of(press)
    return page_answer(request, "baselines.html", lambda c, plant: build_baselines(c, plant, press=press))


@router.get("/presses/{press}/baselines/compare")
def compare_page(request: Request, press: str, first: str = "", second: str = "") -> Response:
    press = code_of(press)
    return page_answer(
        request,
        "compare.html",
        lambda c, plant: build_compare(c, plant, press=press, first=first, second=second),
    )


@router.get("/presses/{press}/baselines/{number}")
def report_page(request: Request, press: str, number: Number) -> Response:
    press = code_of(press)
    return page_answer(
        request,
        "baseline.html",
        lambda c, plant: build_baseline_report(c, plant, press=press, number=number),
    )


@router.get("/presses/{press}/setups")
def setups_page(request: Request, press: str) -> Response:
    press = code_of(press)
    return page_answer(request, "setups.html", lambda c, plant: build_setups(c, plant, press=press))
