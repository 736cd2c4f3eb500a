"""The pages of cases, of setting trials and of single valves."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from server.routes.calls import code_of
from server.routes.pages import page_answer
from server.show.build_cases import build_case, build_cases
from server.show.build_trials import build_trial, build_trials
from server.show.build_valve import build_valve

router = APIRouter(include_in_schema=False)


@router.get("/cases")
def cases_page(request: Request, state: str = "") -> Response:
    return page_answer(request, "cases.html", lambda c, plant: build_cases(c, plant, closed=state == "all"))


@router.get("/cases/{press}/{number}")
def case_page(request: Request, press: str, number: Annotated[int, Path(ge=0, lt=1 << 31)]) -> Response:
    press = code_of(press)
    return page_answer(
        request, "case.html", lambda c, plant: build_case(c, plant, press=press, number=number)
    )


@router.get("/trials")
def trials_page(request: Request, press: str = "") -> Response:
    return page_answer(request, "trials.html", lambda c, plant: build_trials(c, plant, press=code_of(press)))


@router.get("/trials/{press}/{number}")
def trial_page(request: Request, press: str, number: Annotated[int, Path(ge=0, lt=1 << 31)]) -> Response:
    press = code_of(press)
    return page_answer(
        request, "trial.html", lambda c, plant: build_trial(c, plant, press=press, number=number)
    )


@router.get("/valves/{press}/{number}")
def valve_page(request: Request, press: str, number: Annotated[int, Path(ge=0, lt=1 << 31)]) -> Response:
    press = code_of(press)
    return page_answer(
        request, "valve.html", lambda c, plant: build_valve(c, plant, press=press, number=number)
    )
