"""Bring a store's tables up to date, forward only."""

from sqlalchemy.engine import Engine


def bring_up_to_date(engine: Engine) -> None:
    """Apply every migration that the store does not have yet.

    Raises
    ------
    sqlalchemy.exc.DBAPIError
        If the database refuses.
    """
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "annot.store:migrations")
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        if connection.dialect.name == "postgresql":
            # two programs that open a new store at once must not both make its tables
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(4027)")
        command.upgrade(config, "head")
