"""Rooms and reference objects as a register holds them, and as the calibration asks for them."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal

from annot.calibration import KnownSize, ObjectRequest, Placing
from annot.calibration.request import ObjectReading
from annot.errors import InputError

ReferenceKind = Literal["sphere", "grid", "step", "markers", "targets"]
KINDS: tuple[ReferenceKind, ...] = ("sphere", "grid", "step", "markers", "targets")
MEANINGS = {
    "sphere": "diameter of a ball",
    "grid": "spacing of a square grid of wires or beads",
    "step": "spacing of a plate's edges, strips as wide as their gaps",
    "markers": "spacing of bands on a wire",
    "targets": "spacing of targets in an ultrasound phantom, in rows along and across the beam",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room or system that is checked.

    Attributes
    ----------
    name, modality : str
    every_days : int
        How often it is to be checked.
    systems : tuple of str
        Pseudonyms of its imaging systems, as a sweep shows them: of the machine, or of the machine
        with one software, which a table's `system_id` holds.
    """

    name: str
    modality: str
    every_days: int
    systems: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip() or self.modality not in {"XA", "US"}:
            raise InputError("A room needs a name and a modality, XA or US.")
        if self.every_days < 1:
            raise InputError(f"Room {self.name}: a check every {self.every_days} days is none.")

    def as_body(self) -> dict[str, Any]:
        """Return it in plain values, to be kept."""
        return {**asdict(self), "systems": list(self.systems)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A reference object with its certificate.

    Attributes
    ----------
    name : str
    kind : str
    size_mm, tolerance_mm : float
        Certificate value (`MEANINGS` says of what) and the half-width that holds the true one.
    certificate : str
        Number or name of the certificate.
    due : date or None
        When the object itself is to be calibrated again; None if never.
    """

    name: str
    kind: ReferenceKind
    size_mm: float
    tolerance_mm: float
    certificate: str = ""
    due: date | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"There is no object '{self.kind}': choose one of {', '.join(KINDS)}.")
        if not self.name.strip():
            raise InputError("A reference object needs a name.")
        self.known()

    def known(self) -> KnownSize:
        """Return its size as the calibration takes it."""
        return KnownSize(
            size_mm=self.size_mm,
            tolerance_mm=self.tolerance_mm,
            source="measured",
            name=self.kind,
            object_name=self.name,
        )

    def request(self, readings: tuple[ObjectReading, ...], placing: Placing) -> ObjectRequest:
        """Return what the calibration is asked for."""
        if self.kind == "targets":
            raise InputError(f"{self.name}: targets are looked for in ultrasound loops only.")
        return ObjectRequest(kind=self.kind, size=self.known(), readings=readings, placing=placing)

    def overdue(self, today: date) -> bool:
        """Tell whether its certificate ran out."""
        return self.due is not None and self.due < today

    def as_body(self) -> dict[str, Any]:
        """Return it in plain values, to be kept."""
        return {**asdict(self), "due": self.due.isoformat() if self.due else None}


def room_from(body: Mapping[str, Any]) -> Room:
    """Return a kept room."""
    return Room(**{**body, "systems": tuple(body["systems"])})


def reference_from(body: Mapping[str, Any]) -> Reference:
    """Return a kept reference object."""
    due = body["due"]
    return Reference(**{**body, "due": date.fromisoformat(due) if due else None})
