"""Runs the web application with uvicorn, and stops it gracefully though streams are open."""

import signal
import socket
from typing import Any

import uvicorn

from server.app import Objects, build_app
from server.errors import UsageError


class _Server(uvicorn.Server):
    """Ends the event streams first: otherwise the stop waits for pages that never hang up."""

    def __init__(self, config: uvicorn.Config, objects: Objects) -> None:
        super().__init__(config)
        self._objects = objects

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._objects.hub.close()
        await super().shutdown(sockets)


def run(objects: Objects, *, log_level: str = "warning") -> None:
    """Serve until SIGTERM or SIGINT. A stop that was asked for is no failure: SIGTERM ends with code 0."""
    settings = objects.settings
    if settings.no_login and settings.host not in ("127.0.0.1", "localhost", "::1"):
        raise UsageError(f"--no-login is for this machine alone, not for {settings.host}")
    options: dict[str, Any] = {}
    if settings.certificate:
        options = {"ssl_certfile": settings.certificate, "ssl_keyfile": settings.certificate_key}
    config = uvicorn.Config(
        build_app(objects),
        host=settings.host,
        port=settings.port,
        log_level=log_level,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=5,
        **options,
    )
    _need_free(settings.host, settings.port)
    # uvicorn raises the signal again once it has stopped; by default that one would end the process with it.
    signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
    _Server(config, objects).run()


def _need_free(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise UsageError(
                f"{host}:{port} cannot be used ({error.strerror}); choose another --port"
            ) from None
