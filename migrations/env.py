"""Alembic's entry: one connection, no logging set-up, batch mode on SQLite; one at a time on PostgreSQL."""

from alembic import context

from server.store.engine import open_engine
from server.store.engine_pg import alone_in_migrating
from server.store.tables import metadata

engine = open_engine(context.config.attributes["url"])
try:
    with engine.connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=metadata,
            render_as_batch=connection.dialect.name == "sqlite",
            transactional_ddl=True,
        )
        with context.begin_transaction():
            if connection.dialect.name == "postgresql":
                alone_in_migrating(connection)
            context.run_migrations()
        connection.commit()
finally:
    engine.dispose()
