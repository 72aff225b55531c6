"""Which measurements a failed check throws doubt on: all since the room was last found good."""

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.store import Query, Store
from annot.tasks.check.reference import Room
from annot.tasks.check.register import CHAIN, Check
from annot.tasks.check.sweep_journal import journal_lines
from annot.uncertainty.rounding import decimals_for

NEEDED = ("study", "loop", "sop_instance_uid", "quantity", "value", "unit", "scale_kind")
SCALED_BY_ROOM = frozenset({"header", "borrowed", "given", ""})


@dataclass(frozen=True, slots=True, kw_only=True)
class Affected:
    """One measurement that a failed check throws doubt on.

    Attributes
    ----------
    taken : str
        YYYY-MM-DD of its loop, or `not known`.
    own_scale : bool
        Whether an object in the loop itself gave the scale: then the header's error does not act
        on it, though an uneven field would.
    source : str
        The table or store it stands in.
    u : str
        Standard uncertainty in the same unit, empty where the table has none.
    """

    study: str
    loop: str
    sop_instance_uid: str
    quantity: str
    value: str
    unit: str
    scale_kind: str
    taken: str
    own_scale: bool
    source: str
    u: str = ""

    @property
    def shown(self) -> str:
        """Value with its uncertainty and unit, to be read."""
        try:
            number, u = float(self.value), float(self.u)
        except ValueError:
            return f"{self.value} {self.unit}, no u stated"
        places = decimals_for(u)
        return f"{number:.{places}f} ± {u:.{places}f} {self.unit}"

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return asdict(self)


def last_good(checks: Sequence[Check], failed: Check) -> Check | None:
    """Return the last check before a failed one that left the room good, None if there is none."""
    before = [one for one in checks if one.order < failed.order]
    good = [one for one in before if one.left == "pass"]
    return good[-1] if good else None


def affected(
    room: Room,
    since: date | None,
    *,
    tables: Sequence[Path] = (),
    journals: Sequence[Path] = (),
    store: Store | None = None,
) -> tuple[Affected, ...]:
    """List measurements on loops of a room since it was last good, oldest first.

    A loop counts as the room's where a sweep or the row's `system_id` names one of the room's
    systems; one whose day is not known counts too.

    Parameters
    ----------
    since
        Day of the last good check; None takes everything.
    tables
        Measurement tables.
    journals
        Of sweeps: they say which system took a loop, and when.
    store
        A store whose readings count too.

    Raises
    ------
    InputError
        If the room has no system, or a table lacks what this needs.
    """
    if not room.systems:
        raise InputError(
            f"Room {room.name} names no imaging system, so its loops are not known: enter it again "
            "with --system, which annot check run and the journal of annot check sweep name."
        )
    rows = [*_of_tables(tables), *(_of_store(store) if store else ())]
    taken = _where_and_when(journals, {one["sop_instance_uid"] for _, one in rows})
    found = []
    for source, row in rows:
        machine, day = taken.get(row["sop_instance_uid"], (frozenset(), ""))
        named = row.get("system_id", "").removeprefix("system-").split(":")[0]
        if not (machine | {named}) & set(room.systems):
            continue
        if since is not None and day and day < since.isoformat():
            continue
        found.append(_affected(row, day, source))
    return tuple(sorted(found, key=lambda one: (one.taken, one.study, one.loop)))


def _affected(row: Mapping[str, str], day: str, source: str) -> Affected:
    kind = row["scale_kind"]
    return Affected(
        **{name: row[name] for name in NEEDED},
        taken=day or "not known",
        own_scale=kind not in SCALED_BY_ROOM,
        source=source,
        u=row.get("u", ""),
    )


def _of_tables(tables: Sequence[Path]) -> Iterator[tuple[str, Mapping[str, str]]]:
    for path in tables:
        try:
            with path.open(encoding="utf-8-sig", newline="") as stream:
                reader = csv.DictReader(stream)
                missing = [one for one in NEEDED if one not in (reader.fieldnames or ())]
                if missing:
                    raise InputError(
                        f"{path.name} lacks the column(s) {', '.join(missing)}, so it cannot be "
                        "told which loops were measured."
                    )
                for row in reader:
                    yield path.name, {key: value or "" for key, value in row.items() if key}
        except (OSError, UnicodeDecodeError, csv.Error) as fault:
            raise InputError(f"{path} cannot be read as a table: {fault}.") from None


def _of_store(store: Store) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Yield the rows of every reading that holds now, in whatever study of the store."""
    for study in store.studies():
        if study == CHAIN:
            continue
        for event in store.read(Query(study=study, kind="reading")):
            body: Any = event.record.body
            row = body.get("row") if isinstance(body, Mapping) else None
            if isinstance(row, Mapping) and all(name in row for name in NEEDED):
                texts = {key: "" if value is None else str(value) for key, value in row.items()}
                yield f"store, study {study}", texts


def _where_and_when(
    journals: Iterable[Path], wanted: set[str]
) -> dict[str, tuple[frozenset[str], str]]:
    """Return the machine's names and day (YYYY-MM-DD, or empty) of the loops that were measured."""
    found: dict[str, tuple[frozenset[str], str]] = {}
    for journal in journals:
        for line in journal_lines(journal):
            if line["sop"] in wanted:
                day = line["date"]
                words = f"{day[:4]}-{day[4:6]}-{day[6:8]}" if len(day) == 8 else ""
                found[line["sop"]] = (frozenset({line["system"], line["station"]}) - {""}, words)
    return found
