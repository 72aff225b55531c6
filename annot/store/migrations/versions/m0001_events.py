"""The chain of events, to which rows are only ever added."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

REFUSAL = "events are only ever added"


def upgrade() -> None:
    """Make the table and the triggers that keep its rows as they were written."""
    op.create_table(
        "events",
        sa.Column("study", sa.Text, primary_key=True),
        sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("token", sa.Text, nullable=False),
        sa.Column("actor", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("previous", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False, unique=True),
        sa.UniqueConstraint("study", "kind", "key", "version", name="one_version_once"),
        sa.UniqueConstraint("study", "token", name="one_act_once"),
        sa.CheckConstraint("sequence > 0 AND version > 0", name="counted_from_one"),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for deed in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER events_no_{deed.lower()} BEFORE {deed} ON events "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION annot_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER events_no_change BEFORE UPDATE OR DELETE ON events "
        "FOR EACH ROW EXECUTE FUNCTION annot_refuse()"
    )
    op.execute(
        "CREATE TRIGGER events_no_truncate BEFORE TRUNCATE ON events "
        "FOR EACH STATEMENT EXECUTE FUNCTION annot_refuse()"
    )
