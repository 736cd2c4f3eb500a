"""The pages of one study: while it is done, and when it is kept."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from server.record.sheet_bodies import beside
from server.record.sheets import judge_now
from server.routes.calls import code_of
from server.routes.pages import page_answer
from server.show.build_sheet import build_sheet
from server.show.build_studies import build_study
from server.show.plant_words import Plant
from server.store.plant import press_by_code

router = APIRouter(include_in_schema=False)

Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/presses/{press}/sheets/{number}")
def sheet_page(request: Request, press: str, number: Number) -> Response:
    code = code_of(press)

    def build(connection: Any, plant: Plant) -> Any:
        found = press_by_code(connection, code)
        if found is None:
            return None
        return build_sheet(
            connection,
            plant,
            press=code,
            number_=number,
            judge=lambda sheet, readings: judge_now(connection, found, sheet, readings),
            beside=lambda sheet: beside(connection, found, sheet),
        )

    return page_answer(request, "sheet.html", build)


@router.get("/presses/{press}/studies/{number}")
def study_page(request: Request, press: str, number: Number) -> Response:
    code = code_of(press)
    return page_answer(
        request, "study.html", lambda c, plant: build_study(c, plant, press=code, number=number)
    )
