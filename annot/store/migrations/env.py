"""Alembic's entry: migrate over the connection that the store hands in."""

from alembic import context

from annot.store.schema import Base

# Alembic runs this file with a configuration in place; imported as a module it does nothing.
if hasattr(context, "config"):
    connection = context.config.attributes["connection"]
    context.configure(connection=connection, target_metadata=Base.metadata)
    context.run_migrations()
