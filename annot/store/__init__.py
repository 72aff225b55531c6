"""What is kept: an append-only chain of events per study, in SQLite or PostgreSQL."""

from annot.store.append import FrozenError, Intent, SupersededError
from annot.store.audit import in_words
from annot.store.connection import Store, connect
from annot.store.query import Query
from annot.store.record import FREEZE, Anchor, ChainReport, Event, Record

__all__ = [
    "FREEZE",
    "Anchor",
    "ChainReport",
    "Event",
    "FrozenError",
    "Intent",
    "Query",
    "Record",
    "Store",
    "SupersededError",
    "connect",
    "in_words",
]
