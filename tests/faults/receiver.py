"""A webhook of the plant that takes what it is sent and remembers it, repeats included."""

import http.server
import json
import threading
from types import TracebackType
from typing import Any, Self


class Receiver:
    """Listens on a free port while it is entered."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._taken: list[dict[str, Any]] = []
        receiver = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                receiver.take(json.loads(body))
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *arguments: object) -> None:
                del format, arguments  # nothing of it belongs into the test's output

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/alarms"
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05})

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(10)

    def take(self, facts: dict[str, Any]) -> None:
        with self._lock:
            self._taken.append(facts)

    @property
    def count(self) -> int:
        with self._lock:
            return len(self._taken)

    def alarms(self) -> set[str]:
        """Alarms somebody was told of."""
        with self._lock:
            return {str(one["alarm"]) for one in self._taken if "alarm" in one}
