"""What is kept, as frozen types: a record, the event that kept it, what a check of them found."""

from dataclasses import dataclass
from datetime import datetime

from annot.store.canonical import Json, digest_of

FIRST_PREVIOUS = "0" * 64
# the kind of record after which a study takes no other, but for what changes nothing in it: that
# somebody looked behind a code, which is often asked for only then
FREEZE = "freeze"
AFTER_FREEZE = frozenset({"unblinding"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Something to keep.

    Attributes
    ----------
    study : str
        Whose chain it joins.
    kind : str
        What it is: read, caliper, scale, assignment, check, …
    key : str
        Which one of its kind; a later record of the same kind and key supersedes it.
    body : Json
        The content itself.
    """

    study: str
    kind: str
    key: str
    body: Json


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A record as it was kept, with its place in the study's chain.

    Attributes
    ----------
    sequence : int
        From 1, without a gap.
    version : int
        From 1 for each kind and key; the highest one is what holds.
    token : str
        The writer's own name for this act, so that a repeated attempt keeps it once.
    actor, reason : str
        Who did it and why.
    at : datetime
        In UTC.
    previous, digest : str
        Digest of the event before, and of this one with `previous` in it.
    """

    record: Record
    sequence: int
    version: int
    token: str
    actor: str
    at: datetime
    reason: str
    previous: str
    digest: str

    def content(self) -> Json:
        """Return everything that the digest covers."""
        return {
            "study": self.record.study,
            "sequence": self.sequence,
            "kind": self.record.kind,
            "key": self.record.key,
            "version": self.version,
            "token": self.token,
            "actor": self.actor,
            "at": self.at.isoformat(),
            "reason": self.reason,
            "body": self.record.body,
            "previous": self.previous,
        }

    def recomputed(self) -> str:
        """Return the digest that the content as it stands should have."""
        return digest_of(self.content())


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """The head of a study's chain at one moment, to be kept somewhere else."""

    study: str
    sequence: int
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainReport:
    """What checking a chain found.

    Attributes
    ----------
    events : int
        Events that were looked at, up to the first fault.
    fault : str
        The first fault in a sentence; empty where the chain holds.
    head : Anchor or None
        The last event of a chain that holds.
    """

    study: str
    events: int
    fault: str = ""
    head: Anchor | None = None

    @property
    def holds(self) -> bool:
        """Whether nothing was altered, taken out or put in another order."""
        return not self.fault
