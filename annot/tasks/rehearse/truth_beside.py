"""The truth beside what was measured: row by row, and quantity by quantity of a protocol."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from annot.exports import TableEntry
from annot.measurement.change import Change
from annot.tasks.handover import reading_of
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.protocol import Protocol, View

if TYPE_CHECKING:
    from synthetic_dicom import Truth


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A measurement beside its truth; `true_value` is None where there is no scale."""

    entry: TableEntry
    true_value: float | None

    @property
    def holds(self) -> bool | None:
        """Whether the interval holds the truth, None where nothing can be said."""
        if self.true_value is None:
            return None
        return self.entry.measurement.interval.holds(self.true_value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeCompared:
    """A change between two reads beside the true one."""

    change: Change
    true_value: float

    @property
    def holds(self) -> bool:
        """Whether the interval of the difference holds the truth."""
        return self.change.difference.low <= self.true_value <= self.change.difference.high


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityHeld:
    """One quantity of a protocol: how many of its rows hold their truth.

    Attributes
    ----------
    quantity : str
    rows, held : int
        Rows that have a truth, and those whose interval holds it.
    """

    quantity: str
    rows: int
    held: int


def true_value_of(entry: TableEntry, truth: "Truth", *, nominal_mm: float) -> float | None:
    """Return what is true of a row, as its view shows it; None where the row has no scale.

    Parameters
    ----------
    entry : TableEntry
    truth : Truth
        Of the row's loop.
    nominal_mm : float
        Width that the invented implant was made with.

    Raises
    ------
    KeyError
        If the loop's truth does not know the quantity.
    """
    name, frame = entry.measurement.outcome.name, entry.measurement.caliper.frame.frame
    if entry.measurement.result.unit.startswith("px"):
        return None
    seen = {
        one.quantity: one.value for one in (*truth.device, *truth.derived) if one.frame == frame
    }
    if name.endswith("_compression"):
        return 1.0 - seen[name.replace("_compression", "_width")] / nominal_mm
    if name == "ridge_swing":
        ways = [one.value for one in truth.device if one.quantity == "ridge_distance"]
        return max(ways) - min(ways)
    return seen[name] if name in seen else truth.caliper(name, frame).value_mm


def held_by_quantity(protocol: Protocol, rows: Iterable[Compared]) -> tuple[QuantityHeld, ...]:
    """Return every quantity of a protocol with how its rows hold their truths, in its order."""
    judged = [one for one in rows if one.holds is not None]
    found = []
    for rule in protocol.quantities:
        names = {outcome.name for outcome in QUANTITIES[rule.quantity].outcomes}
        own = [one for one in judged if one.entry.measurement.outcome.name in names]
        held = sum(bool(one.holds) for one in own)
        found.append(QuantityHeld(quantity=rule.quantity, rows=len(own), held=held))
    return tuple(found)


def changes_compared(
    changes: Sequence[Change], before: Iterable[Compared], after: Iterable[Compared]
) -> tuple[ChangeCompared, ...]:
    """Put the true change beside each change between two reads."""
    earlier, later = ({_where(one): one.true_value for one in rows} for rows in (before, after))
    found = []
    for one in changes:
        first, last = (truths.get((one.quantity, one.view)) for truths in (earlier, later))
        if first is not None and last is not None:
            found.append(ChangeCompared(change=one, true_value=last - first))
    return tuple(found)


def _where(one: Compared) -> tuple[str, str]:
    """Return a row's quantity and its view in words, as a change names them."""
    reading = reading_of(one.entry)
    view = View(
        modality="US" if reading.modality == "US" else "XA",
        plane_deg=reading.plane_deg,
        primary_deg=reading.primary_deg,
        secondary_deg=reading.secondary_deg,
    )
    return one.entry.measurement.outcome.name, view.title
