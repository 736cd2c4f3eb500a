"""The two cookies: whose session it is, and which shared tablet.

Under TLS their names begin with `__Host-`: a browser then takes them only from this very host, over
TLS, for every path. Neither is read by scripts nor sent along from other sites.
"""

from http.cookies import CookieError, SimpleCookie
from typing import Final

from fastapi import Request
from starlette.datastructures import Headers
from starlette.responses import Response

SESSION: Final = "ringtell_session"
TABLET: Final = "ringtell_tablet"
#: How long a tablet stays one without being used.
TABLET_DAYS: Final = 400


def name_of(cookie: str, scheme: str) -> str:
    return f"__Host-{cookie}" if scheme == "https" else cookie


def read_cookie(headers: Headers, cookie: str, scheme: str) -> str:
    """The token in a cookie; '' without. What came without TLS is not taken over TLS."""
    for line in headers.getlist("cookie"):
        try:
            morsel = SimpleCookie(line).get(name_of(cookie, scheme))
        except CookieError:
            continue
        if morsel is not None:
            return morsel.value
    return ""


def token_in(request: Request, cookie: str) -> str:
    return read_cookie(request.headers, cookie, request.url.scheme)


def give(request: Request, response: Response, cookie: str, token: str, *, max_age_s: int) -> None:
    scheme = request.url.scheme
    response.set_cookie(
        name_of(cookie, scheme),
        token,
        max_age=max_age_s,
        httponly=True,
        samesite="lax",
        secure=scheme == "https",
    )


def take_back(request: Request, response: Response, cookie: str) -> None:
    scheme = request.url.scheme
    response.delete_cookie(name_of(cookie, scheme), httponly=True, samesite="lax", secure=scheme == "https")
