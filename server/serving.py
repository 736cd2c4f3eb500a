"""Runs the web application with uvicorn, and stops it gracefully though streams are open."""

import gc
import signal
import socket
import ssl
from typing import Any

import uvicorn

from server import logs
from server.app import Objects, build_app
from server.errors import UsageError
from server.heads import BoundedHeads
from server.settings import Settings


class _Server(uvicorn.Server):
    """Ends the event streams first: otherwise the stop waits for pages that never hang up."""

    def __init__(self, config: uvicorn.Config, objects: Objects) -> None:
        super().__init__(config)
        self._objects = objects

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._objects.hub.close()
        await super().shutdown(sockets)


def run(objects: Objects) -> None:
    """Serve until SIGTERM or SIGINT. A stop that was asked for is no failure: SIGTERM ends with code 0."""
    settings = objects.settings
    if settings.no_login and settings.host not in ("127.0.0.1", "localhost", "::1"):
        raise UsageError(f"--no-login is for this machine alone, not for {settings.host}")
    config = uvicorn.Config(
        build_app(objects),
        host=settings.host,
        port=settings.port,
        http=BoundedHeads,
        ws="none",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=5,
        # What a request says of its client and scheme holds only when a proxy of ours says it.
        proxy_headers=bool(settings.trusted_proxies.split()),
        forwarded_allow_ips=settings.trusted_proxies.split(),
        **_tls(settings),
    )
    _need_free(settings.host, settings.port)
    logs.configure(form=settings.log_format, level=settings.log_level)
    # uvicorn raises the signal again once it has stopped; by default that one would end the process with it.
    signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
    # The application and its routes, as the modules before (`cli.py`).
    gc.freeze()
    _Server(config, objects).run()


def _tls(settings: Settings) -> dict[str, Any]:
    """How uvicorn is told to serve TLS; the files are tried before, so that the reason is a plain one."""
    if not settings.tls_cert and not settings.tls_key:
        return {}
    if not settings.tls_cert or not settings.tls_key:
        raise UsageError("RINGTELL_TLS_CERT and RINGTELL_TLS_KEY belong together: name both files or none")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(settings.tls_cert, settings.tls_key, password=_no_password)
    except (OSError, ValueError) as error:
        raise UsageError(
            f"RINGTELL_TLS_CERT={settings.tls_cert!r} with RINGTELL_TLS_KEY={settings.tls_key!r} cannot be"
            f" used: {error}; both are PEM files, the certificate with its chain, the key without a password"
        ) from None
    return {"ssl_certfile": settings.tls_cert, "ssl_keyfile": settings.tls_key}


def _no_password() -> str:
    """Instead of asking on the terminal of a server that nobody watches."""
    raise ValueError("the key has a password")


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
