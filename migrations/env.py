"""Alembic's entry: one connection, no logging set-up, batch mode on SQLite."""

from alembic import context

from server.store.engine import open_engine
from server.store.tables import metadata

engine = open_engine(context.config.attributes["url"])
with engine.connect() as connection:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()
    connection.commit()
engine.dispose()
