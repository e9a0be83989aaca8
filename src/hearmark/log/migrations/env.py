"""Alembic's entry: runs the steps on the connection that the store hands over, in its transaction."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, transaction_per_migration=False)
context.run_migrations()
