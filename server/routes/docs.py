"""`/docs`: the calls of the API as a plain page of our own; nothing is fetched from elsewhere."""

from html import escape
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.routes.assets import assets
from server.routes.described import ANSWERS
from server.words.help_api import FIELDS

router = APIRouter(include_in_schema=False)

_METHODS = ("get", "put", "post", "delete")


@router.get("/docs")
def docs(request: Request) -> HTMLResponse:
    """Every call with what it does, from the same document that `/openapi.json` gives."""
    paths: dict[str, dict[str, Any]] = request.app.openapi()["paths"]
    rows = "".join(
        _row(method, path, calls[method])
        for path, calls in sorted(paths.items())
        for method in _METHODS
        if method in calls
    )
    base = assets().href("css/base.css")
    tokens = assets().href("css/tokens.css")
    return HTMLResponse(
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>API · Ringtell</title>'
        f'<link rel="stylesheet" href="{tokens}"><link rel="stylesheet" href="{base}"></head><body><main>'
        "<h1>What the API answers</h1>"
        "<p>Send a session cookie or <code>Authorization: Bearer</code> with a device key. The whole "
        'document, for programs: <a href="/openapi.json">/openapi.json</a>. '
        'Back to the <a href="/">plant</a>.</p>'
        f"<dl>{rows}</dl></main></body></html>"
    )


def _row(method: str, path: str, call: dict[str, Any]) -> str:
    names = [one["name"] for one in call.get("parameters", []) if one.get("in") == "query"]
    query = f" <small>?{escape(', '.join(names))}</small>" if names else ""
    text = escape(call.get("description") or call.get("summary") or "")
    fields = ", ".join(_field(one) for one in ANSWERS.get((method, path), ()))
    told = f"<br><small>What is answered: {fields}</small>" if fields else ""
    return f"<dt><code>{method.upper()} {escape(path)}</code>{query}</dt><dd>{text}{told}</dd>"


def _field(path: str) -> str:
    """A field of an answer, leading to what explains it."""
    anchor = FIELDS.get(path.rpartition(".")[2])
    code = f"<code>{escape(path)}</code>"
    return f'<a href="/help#{anchor}">{code}</a>' if anchor else code
