"""Alembic's own entry: in the connection, and the transaction, of whoever upgrades."""

from alembic import context

from benchrig.history.migrations.upgrading import TABLE

context.configure(connection=context.config.attributes["connection"], version_table=TABLE)
context.run_migrations()
