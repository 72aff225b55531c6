"""The tables: SQLAlchemy's mapped classes, which never leave this room."""

from sqlalchemy import BigInteger, Integer, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """All tables of a store."""


class EventRow(Base):
    """One event; rows are only ever added."""

    __tablename__ = "events"
    __table_args__ = (
        UniqueConstraint("study", "kind", "key", "version", name="one_version_once"),
        UniqueConstraint("study", "token", name="one_act_once"),
    )

    study: Mapped[str] = mapped_column(Text, primary_key=True)
    sequence: Mapped[int] = mapped_column(
        BigInteger().with_variant(Integer, "sqlite"), primary_key=True
    )
    kind: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer)
    token: Mapped[str] = mapped_column(Text)
    actor: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    previous: Mapped[str] = mapped_column(String(64))
    digest: Mapped[str] = mapped_column(String(64), unique=True)
