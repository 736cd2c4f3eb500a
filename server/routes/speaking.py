"""The language of each answer: the person's own choice, else the best of what the browser asks for."""

from typing import Final

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from server.language import Language, spoken
from server.languages import language, wanted_of

_ACCEPT: Final = "accept-language"


class SpeakingMiddleware:
    """Speaks to whoever asks in their language; behind the layer that knows who it is."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        with spoken(language_of(scope)):
            await self.app(scope, receive, send)


def language_of(scope: Scope) -> Language | None:
    """The person's choice before the plant's, and this before what the browser asks for."""
    actor = scope.get("state", {}).get("actor")
    of_plant = scope["app"].state.ringtell.settings.language
    chosen = str(getattr(actor, "language", "") or of_plant)
    return language(chosen) if chosen else wanted_of(Headers(scope=scope).get(_ACCEPT, ""))
