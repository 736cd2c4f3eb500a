"""Errors as RFC 9457 problem+json; pages get a page."""

import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from sqlalchemy import exc
from starlette.exceptions import HTTPException

from server.errors import AlreadyDoneError, BusyError, RingtellError, StorageError, ThrottledError
from server.language import say
from server.logs import request_id
from server.store.trouble import trouble_of

log = logging.getLogger("ringtell")

MEDIA_TYPE = "application/problem+json"


def problem(
    status: int, code: str, title: str, detail: str, *, headers: dict[str, str] | None = None, **more: Any
) -> JSONResponse:
    """A problem+json answer; `code` is ours, the rest after RFC 9457."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, "code": code, **more}
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE, headers=headers)


def answer_of(error: RingtellError) -> JSONResponse:
    if isinstance(error, AlreadyDoneError):
        return JSONResponse(error.answer, status_code=error.answer_status)
    headers: dict[str, str] = {}
    if isinstance(error, BusyError | StorageError | ThrottledError):
        headers["Retry-After"] = str(error.retry_after_s)
    if error.status == 401:
        headers["WWW-Authenticate"] = "Bearer"
    more = {"field": error.field} if error.field else {}
    return problem(error.status, error.code, say(error.title), say(error.message), headers=headers, **more)


def install(app: FastAPI) -> None:
    """Give every foreseen and unforeseen trouble its answer."""

    @app.exception_handler(RingtellError)
    def foreseen(_request: Request, error: RingtellError) -> JSONResponse:
        return answer_of(error)

    @app.exception_handler(RequestValidationError)
    def malformed(_request: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
        given = repr(first.get("input"))[:80]
        text = f"{where or 'the request'}: {first['msg']} (given: {given})"
        return problem(422, "invalid", "A value cannot be taken", text, field=where)

    @app.exception_handler(HTTPException)
    def unrouted(_request: Request, error: HTTPException) -> JSONResponse:
        code = {404: "not_found", 405: "method_not_allowed"}.get(error.status_code, "failed")
        detail, headers = str(error.detail), dict(error.headers or {})
        return problem(error.status_code, code, detail, detail, headers=headers)

    @app.exception_handler(exc.SQLAlchemyError)
    def database_trouble(_request: Request, error: exc.SQLAlchemyError) -> JSONResponse:
        trouble = trouble_of(error)
        if trouble is None:
            return unforeseen(error)
        log.error("%s: %s", trouble.code, getattr(error, "orig", error))
        return answer_of(trouble)

    @app.exception_handler(Exception)
    def last_resort(_request: Request, error: Exception) -> JSONResponse:
        return unforeseen(error)


def unforeseen(error: Exception) -> JSONResponse:
    """For what nobody foresaw: its reason goes to the log, the id it has there to the caller."""
    log.exception("unforeseen", exc_info=error)
    request = request_id.get()
    where = f" under request {request}" if request else ""
    text = f"the server's log has the reason{where}; nothing was changed"
    return problem(500, "failed", "Something failed", text)
