"""Run by Alembic: takes the steps over the connection that `database.open_store` hands it."""

from __future__ import annotations

from alembic import context

from joulebook.store.tables import Base

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=Base.metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
