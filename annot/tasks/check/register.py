"""The register: rooms, reference objects, checks and chart limits in a store that only grows."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from secrets import token_hex
from typing import Any, TypeVar

from annot.errors import InputError
from annot.quality import RecordedLimits, from_body
from annot.quality.judgement import CheckedValue, Verdict, overall, value_from_body
from annot.store import Event, Intent, Query, Record, Store, connect
from annot.tasks.check.reference import Reference, Room, reference_from, room_from

Thing = TypeVar("Thing", Room, Reference)
CHAIN = "calibration-checks"  # the chain of a store that checks have to themselves
ROOM, REFERENCE, CHECK, LIMITS = "room", "reference-object", "check", "chart-limits"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of one room.

    Attributes
    ----------
    key : str
    room : str
    taken : date
        When its loops were acquired.
    objects : tuple of str
    loops : tuple of mappings
        File, SOP instance UID, system and geometry of each loop.
    as_found : tuple of CheckedValue
    as_left : tuple of CheckedValue
        After somebody set the room right; empty where nothing was changed.
    missing : tuple of str
        What was looked for and not found.
    missing_left : tuple of str
        The same after somebody set the room right.
    by, at : str and datetime
        Who entered it and when.
    """

    key: str
    room: str
    taken: date
    objects: tuple[str, ...]
    loops: tuple[Mapping[str, str], ...]
    as_found: tuple[CheckedValue, ...]
    as_left: tuple[CheckedValue, ...] = ()
    missing: tuple[str, ...] = ()
    missing_left: tuple[str, ...] = ()
    note: str = ""
    by: str = ""
    at: datetime = field(default=datetime(1970, 1, 1, tzinfo=UTC))
    version: int = 0

    @property
    def order(self) -> tuple[date, int]:
        """Its place among a room's checks: by day, then as they were entered on that day."""
        return self.taken, int(self.key.rpartition("#")[2] or 0)

    @property
    def found(self) -> Verdict:
        """Verdict as found: an object that was not found or fitted leaves a check undecided."""
        return _verdict(self.as_found, self.missing)

    @property
    def left(self) -> Verdict:
        """Verdict as left: as found where nothing was changed."""
        if self.as_left or self.missing_left:
            return _verdict(self.as_left, self.missing_left)
        return self.found

    def as_body(self) -> dict[str, Any]:
        """Return it in plain values, to be kept."""
        return {
            "room": self.room,
            "taken": self.taken.isoformat(),
            "objects": list(self.objects),
            "loops": [dict(one) for one in self.loops],
            "as_found": [one.as_body() for one in self.as_found],
            "as_left": [one.as_body() for one in self.as_left],
            "missing": list(self.missing),
            "missing_left": list(self.missing_left),
            "note": self.note,
        }

    def facts(self) -> dict[str, Any]:
        """Return it for machines."""
        return {
            **self.as_body(),
            "key": self.key,
            "by": self.by,
            "at": self.at.isoformat(),
            "found": self.found,
            "left": self.left,
            "as_found": [one.facts() for one in self.as_found],
            "as_left": [one.facts() for one in self.as_left],
        }


def _verdict(values: tuple[CheckedValue, ...], missing: tuple[str, ...]) -> Verdict:
    seen = overall(values)
    return "undecided" if missing and seen in {"pass", "no limits"} else seen


def _check(event: Event) -> Check:
    body: Any = event.record.body
    return Check(
        key=event.record.key,
        room=body["room"],
        taken=date.fromisoformat(body["taken"]),
        objects=tuple(body["objects"]),
        loops=tuple(body["loops"]),
        as_found=tuple(map(value_from_body, body["as_found"])),
        as_left=tuple(map(value_from_body, body["as_left"])),
        missing=tuple(body["missing"]),
        missing_left=tuple(body.get("missing_left", ())),
        note=body["note"],
        by=event.actor,
        at=event.at,
        version=event.version,
    )


class Register:
    """A store's rooms, objects and checks. Everything that is entered stays; nothing is erased."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def rooms(self) -> dict[str, Room]:
        """Return every room by its name."""
        return {one.record.key: room_from(_body(one)) for one in self._events(ROOM)}

    def references(self) -> dict[str, Reference]:
        """Return every reference object by its name."""
        return {one.record.key: reference_from(_body(one)) for one in self._events(REFERENCE)}

    def checks(self, room: str) -> tuple[Check, ...]:
        """Return a room's checks as they hold now, by the day their loops were taken."""
        mine = [_check(one) for one in self._events(CHECK) if _body(one)["room"] == room]
        return tuple(sorted(mine, key=lambda one: one.order))

    def limits(self, room: str, quantity: str) -> RecordedLimits | None:
        """Return the limits recorded for a chart, None where nobody set any."""
        for event in self._events(LIMITS, f"{room}: {quantity}"):
            return from_body(_body(event))
        return None

    def room(self, name: str) -> Room:
        """Return a room; raise InputError where there is none of that name."""
        return _named(self.rooms(), name, "room", "annot check new room")

    def reference(self, name: str) -> Reference:
        """Return a reference object; raise InputError where there is none of that name."""
        return _named(self.references(), name, "reference object", "annot check new object")

    def enter(self, thing: Room | Reference, *, by: str, reason: str = "") -> None:
        """Keep a room or an object; one that is there already is superseded, for a reason."""
        kind = ROOM if isinstance(thing, Room) else REFERENCE
        self._keep(kind, thing.name, thing.as_body(), by=by, reason=reason)

    def add_check(self, check: Check, *, by: str) -> Check:
        """Keep a new check under a key of its own, which is returned with it."""
        days = [one for one in self.checks(check.room) if one.taken == check.taken]
        key = f"{check.room} {check.taken.isoformat()} #{len(days) + 1}"
        self._keep(CHECK, key, check.as_body(), by=by, seen=0)
        return next(one for one in self.checks(check.room) if one.key == key)

    def change_check(self, check: Check, *, by: str, reason: str) -> None:
        """Supersede a check, for instance by what was found after the room was set right."""
        self._keep(CHECK, check.key, check.as_body(), by=by, reason=reason, seen=check.version)

    def record_limits(
        self, room: str, quantity: str, limits: RecordedLimits, *, by: str, reason: str = ""
    ) -> None:
        """Write limits down; new ones in place of older ones need a reason."""
        self._keep(LIMITS, f"{room}: {quantity}", limits.as_body(), by=by, reason=reason)

    def _events(self, kind: str, key: str | None = None) -> Iterator[Event]:
        return self.store.read(Query(study=CHAIN, kind=kind, key=key))

    def _keep(
        self,
        kind: str,
        key: str,
        body: Mapping[str, Any],
        *,
        by: str,
        reason: str = "",
        seen: int | None = None,
    ) -> None:
        if not by.strip():
            raise InputError("Who does this is kept with it: name a person with --by.")
        if seen is None:
            seen = max((one.version for one in self._events(kind, key)), default=0)
        if seen and not reason.strip():
            raise InputError(f"{kind} {key} is there already: say why it changes with --reason.")
        intent = Intent(
            record=Record(study=CHAIN, kind=kind, key=key, body=_plain(body)),
            token=token_hex(8),  # each call is an act of its own
            actor=by,
            at=datetime.now(UTC),
            reason=reason,
            seen_version=seen,
        )
        self.store.append(intent)


def register_at(store: str) -> Register:
    """Open a register, made where there is none."""
    return Register(connect(store))


def _body(event: Event) -> Any:
    return event.record.body


def _plain(body: Any) -> Any:
    """Return the same content with lists for tuples, as JSON has it."""
    if isinstance(body, Mapping):
        return {str(key): _plain(part) for key, part in body.items()}
    if isinstance(body, Sequence) and not isinstance(body, str):
        return [_plain(part) for part in body]
    return body


def _named(known: Mapping[str, Thing], name: str, what: str, how: str) -> Thing:
    if name not in known:
        there = f"; there are {', '.join(sorted(known))}" if known else ""
        raise InputError(f"The register has no {what} {name}{there}: enter it with {how}.")
    return known[name]
