"""Pages around the alarms: how they do, who is told; and what installs the alarm page on a tablet."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from server.routes.assets import assets
from server.routes.pages import page_answer
from server.show.build_outlets import build_outlets
from server.show.build_performance import build_performance
from server.show.manifest import app_manifest

router = APIRouter(include_in_schema=False)

_FRESH = {"Cache-Control": "no-cache", "X-Content-Type-Options": "nosniff"}
#: The worker asks this server and nobody else.
_WORKER = {"Content-Security-Policy": "default-src 'none'; connect-src 'self'"}


@router.get("/alarms/performance")
def performance_page(request: Request) -> Response:
    return page_answer(request, "performance.html", build_performance)


@router.get("/settings/messages")
def messages_page(request: Request) -> Response:
    outlets = tuple(sorted(request.app.state.ringtell.outlets))
    return page_answer(request, "messages.html", lambda c, plant: build_outlets(c, plant, outlets=outlets))


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """What makes the alarm page one that a tablet can install."""
    return JSONResponse(app_manifest(assets().href), media_type="application/manifest+json", headers=_FRESH)


@router.get("/service-worker.js")
def service_worker() -> Response:
    """The worker that keeps the alarm page; from here, so that it may answer for the whole server."""
    asset = assets().get("service-worker.js")
    body = b"" if asset is None else asset.plain
    return Response(body, media_type="text/javascript; charset=utf-8", headers={**_FRESH, **_WORKER})
