"""A collector's way straight into the local database: the same reading and storing as over HTTP."""

import msgspec
import sqlalchemy as sa

from server.app import build_objects
from server.clock import now_ms
from server.collect.forward import Delivered, RefusedBatchError, TryLaterError
from server.errors import BusyError, RingtellError
from server.ingest.wire import read_body
from server.record.sources import record_source
from server.settings import Settings
from server.store import engine

_NO_BOUND = 1 << 40


class LocalDatabase:
    """Shots and reports into the database of the settings; what waits there a server evaluates."""

    def __init__(self, settings: Settings, *, source: str) -> None:
        engine.upgrade(settings.direct_url)
        self._objects = build_objects(settings)
        self._source = source
        self.shown = sa.make_url(settings.database_url).render_as_string(hide_password=True)

    def deliver(self, body: bytes) -> Delivered:
        """NDJSON into the database; returns once it is durable."""
        try:
            batch = read_body(
                body,
                content_type="application/x-ndjson",
                content_encoding=None,
                query={},
                received_ms=now_ms(),
                max_bytes=_NO_BOUND,
                max_expanded_bytes=_NO_BOUND,
                max_rows=_NO_BOUND,
            )
            answer = self._objects.pipeline.take_in(batch, accept_unknown=True, source=self._source)
        except BusyError as error:
            raise TryLaterError(error.message, after_s=error.retry_after_s) from None
        except RingtellError as error:
            raise RefusedBatchError(error.message, reason_code=error.code) from None
        except sa.exc.OperationalError as error:
            raise TryLaterError(f"the database does not answer: {error.orig}") from None
        return Delivered(answer.received, answer.stored, answer.duplicate, answer.conflict, answer.rejected)

    def report(self, name: str, document: bytes) -> None:
        """How the source is doing, for the page of the sources."""
        report = msgspec.json.decode(document)
        try:
            self._objects.store.write(
                lambda connection: record_source(
                    connection, name, report, by="command line", only_press="", now_ms=now_ms()
                )
            )
        except (RingtellError, sa.exc.OperationalError) as error:
            raise TryLaterError(str(error)) from None

    def close(self) -> None:
        self._objects.pipeline.close()
        self._objects.store.close()
