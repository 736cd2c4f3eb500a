"""How good is the score? The proof that ships with the model, as a page and as data."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.access.actors import NOBODY, need
from server.routes.pages import page_answer
from server.show.score_proof import build_score
from server.words.catalogue import shared_object

router = APIRouter()


@router.get("/score", include_in_schema=False)
def score_page(request: Request) -> Response:
    return page_answer(request, "score.html", build_score)


@router.get("/api/v1/score-proof")
def get_score_proof(request: Request) -> dict[str, Any]:
    """What the shipped model is worth on invented presses that it was not fitted on.

    By kind of presses: `sets` (area under the curve, Brier, calibration with intervals), `quiet`,
    `speed`, `false_alarms`, `confusion`; `worn` for records taken on worn valves.
    """
    need(getattr(request.state, "actor", NOBODY), "read")
    return dict(shared_object("score_proof"))
