"""Run by Alembic: the migrations go over the connection of the store, within its transaction."""

from __future__ import annotations

from alembic import context

from isolate.case.database import VERSIONS

context.configure(connection=context.config.attributes["connection"], version_table=VERSIONS)
context.run_migrations()
