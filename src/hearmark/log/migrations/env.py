"""Alembic's entry: runs the steps on the connection that the store hands over, in its transaction."""

from alembic import context

# Without a configuration somebody only imports this module
if hasattr(context, "config"):
    context.configure(connection=context.config.attributes["connection"], transaction_per_migration=False)
    context.run_migrations()
