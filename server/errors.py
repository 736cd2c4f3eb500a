"""Foreseen trouble, each a class with code, HTTP status and a message that names the way out."""

from collections.abc import Mapping
from typing import Any

from server.language import N_


class RingtellError(Exception):
    """Base of everything that is answered with a problem+json or one line on standard error."""

    code: str = "failed"
    status: int = 500
    title: str = N_("Something failed")

    def __init__(self, message: str, *, field: str | None = None, **facts: Any) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.facts: Mapping[str, Any] = facts


class NotFoundError(RingtellError):
    code, status, title = "not_found", 404, N_("No such thing")


class InvalidError(RingtellError):
    """A value that cannot be taken: the message names field, value and bound."""

    code, status, title = "invalid", 422, N_("A value cannot be taken")


class BadBodyError(InvalidError):
    code, title = "bad_body", N_("The body cannot be read")


class UnknownMediaError(RingtellError):
    code, status, title = "unsupported_media_type", 415, N_("This media type is not taken")


class TooLargeError(RingtellError):
    code, status, title = "too_large", 413, N_("The request is too large")


class TooSlowError(RingtellError):
    code, status, title = "too_slow", 408, N_("The request came too slowly")


class UnauthorizedError(RingtellError):
    code, status, title = "unauthorized", 401, N_("A key or a login is needed")


class ForbiddenError(RingtellError):
    code, status, title = "forbidden", 403, N_("Not allowed")


class ConflictError(RingtellError):
    code, status, title = "conflict", 409, N_("The state does not allow this")


class AlreadyDoneError(RingtellError):
    """This very request was carried out before: it is given the answer it had then."""

    code, status, title = "already_done", 409, N_("This was done before")

    def __init__(self, message: str, *, answer_status: int, answer: Any) -> None:
        super().__init__(message)
        self.answer_status, self.answer = answer_status, answer


class BusyError(RingtellError):
    code, status, title = "busy", 503, N_("The server is busy")

    def __init__(self, message: str, *, retry_after_s: int = 2) -> None:
        super().__init__(message, retry_after_s=retry_after_s)
        self.retry_after_s = retry_after_s


class StorageError(RingtellError):
    """The disk is full, or does not take what is written: nothing of the request was stored."""

    code, status, title = "storage_full", 507, N_("There is no room to store this")

    def __init__(self, message: str, *, retry_after_s: int = 30) -> None:
        super().__init__(message, retry_after_s=retry_after_s)
        self.retry_after_s = retry_after_s


class UsageError(RingtellError):
    """The command line was used wrongly: exit code 2."""

    code, status, title = "usage", 400, N_("Wrong usage")


class ThrottledError(RingtellError):
    """Too many tries; `retry_after_s` says when the next one is looked at."""

    code, status, title = "too_many_tries", 429, N_("Too many tries")

    def __init__(self, message: str, *, retry_after_s: int) -> None:
        super().__init__(message, retry_after_s=retry_after_s)
        self.retry_after_s = retry_after_s
