"""Run by alembic with the connection, and its open transaction, that `rotorwright.hangar.schema` hands over."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"])
with context.begin_transaction():
    context.run_migrations()
