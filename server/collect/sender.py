"""`Sender(url, key, spool)`: the spool's lines to a server's `POST /api/v1/shots`, over HTTP."""

import datetime as dt
import email.utils
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import quote, urlsplit

import httpx

from server.clock import as_datetime, now_ms
from server.collect.forward import BATCH_LINES, Delivered, Forwarder, RefusedBatchError, TryLaterError
from server.collect.spool import Spool
from server.errors import UsageError

#: Seconds to wait for a connection, and for the answer: it comes when the shots are durable.
TIMEOUT: Final = httpx.Timeout(60.0, connect=10.0)
#: What of a wait the server asks for is believed.
LONGEST_RETRY_AFTER_S: Final = 600.0
_COUNTS: Final = ("received", "stored", "duplicate", "conflict")
#: The address or the key is wrong, not the shots: they wait until somebody mended it.
_NOT_THE_SHOTS: Final = frozenset({401, 404, 405, 407, 408, 409, 421, 425, 426, 429})


class Sender(Forwarder):
    """A forwarder over HTTP. The key travels in a header, never in the address."""

    def __init__(
        self, url: str, key: str, spool: Spool, *, batch_lines: int = BATCH_LINES, verify: Any = True
    ) -> None:
        self.address = read_address(url)
        headers = {"Authorization": f"Bearer {key}"} if key else {}
        # Redirects are not followed: the key is for this server alone.
        self._client = httpx.Client(timeout=TIMEOUT, headers=headers, verify=verify)
        super().__init__(self.post, spool, batch_lines=batch_lines)

    def post(self, body: bytes) -> Delivered:
        """One batch; returns once the server has it on disk."""
        answer = self._ask("POST", "/api/v1/shots", body, "application/x-ndjson")
        if answer.status_code == 200:
            return _read_answer(answer)
        raise _trouble(answer)

    def report(self, name: str, document: bytes) -> None:
        """Tell the server how this source is doing; raises `TryLaterError` when it does not hear."""
        answer = self._ask("PUT", f"/api/v1/sources/{quote(name, safe='')}", document, "application/json")
        if answer.status_code != 200:
            raise TryLaterError(_what_it_said(answer))

    def stop(self, *, within_s: float = 10.0) -> None:
        super().stop(within_s=within_s)
        self._client.close()

    def _ask(self, method: str, path: str, body: bytes, media: str) -> httpx.Response:
        try:
            return self._client.request(
                method, self.address + path, content=body, headers={"Content-Type": media}
            )
        except httpx.HTTPError as error:
            raise TryLaterError(f"{self.address} does not answer: {type(error).__name__} {error}") from None


def read_address(url: str) -> str:
    """The server's address without an edge slash; a `UsageError` where it is none, or holds a password."""
    if "@" in url:
        raise UsageError("--to: leave name and password out of the address; the key goes with --key-file")
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise UsageError(f"--to {url!r}: write the server's address as https://ringtell.example")
    return url.rstrip("/")


def _read_answer(answer: httpx.Response) -> Delivered:
    try:
        said = answer.json()
        received, stored, duplicate, conflict = (int(said[name]) for name in _COUNTS)
        return Delivered(received, stored, duplicate, conflict, list(said["rejected"]))
    except (ValueError, KeyError, TypeError):
        raise TryLaterError(
            f"{answer.url} answered 200 but not as a Ringtell server does; is a proxy or a login page in"
            " between?"
        ) from None


def _trouble(answer: httpx.Response) -> TryLaterError | RefusedBatchError:
    status, text = answer.status_code, _what_it_said(answer)
    if status == 413:
        return RefusedBatchError(text, reason_code="too_large", too_large=True)
    problem = _problem(answer)
    # A 403 about a press is about some of the shots; any other about the whole key.
    about_shots = status != 403 or problem.get("field") == "press"
    if 400 <= status < 500 and status not in _NOT_THE_SHOTS and about_shots:
        code = str(problem.get("code", status))
        return RefusedBatchError(text, reason_code=code, about_press=status == 403)
    return TryLaterError(text, after_s=retry_after_s(answer.headers.get("retry-after")))


def _what_it_said(answer: httpx.Response) -> str:
    detail = _problem(answer).get("detail") or answer.reason_phrase
    where = answer.headers.get("location")
    moved = f"; it points to {where}: use that address" if where and 300 <= answer.status_code < 400 else ""
    return f"the server answered {answer.status_code}: {str(detail)[:300]}{moved}"


def _problem(answer: httpx.Response) -> Mapping[str, Any]:
    if "json" not in answer.headers.get("content-type", ""):
        return {}
    try:
        said = answer.json()
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}


def retry_after_s(text: str | None, *, at_ms: int | None = None) -> float | None:
    """Seconds of a Retry-After header (a number or a date), within reason; None when there is none.

    >>> retry_after_s("3"), retry_after_s("soon"), retry_after_s("-1"), retry_after_s("9999999")
    (3.0, None, 0.0, 600.0)
    >>> retry_after_s("Thu, 01 Jan 1970 00:00:20 GMT", at_ms=5_000)
    15.0
    """
    if text is None:
        return None
    try:
        seconds = float(int(text))
    except ValueError:
        try:
            until = email.utils.parsedate_to_datetime(text)
        except ValueError:
            return None
        until = until if until.tzinfo else until.replace(tzinfo=dt.UTC)
        seconds = (until - as_datetime(now_ms() if at_ms is None else at_ms)).total_seconds()
    return min(max(seconds, 0.0), LONGEST_RETRY_AFTER_S)
