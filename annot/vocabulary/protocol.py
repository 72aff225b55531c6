"""A protocol: which quantities, in which views, how often, by which rule, hidden from whom."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal, get_args

SizeBy = Literal["largest", "area_diameter", "perimeter_diameter"]
Moment = Literal["any", "largest", "end_systole", "end_diastole"]
MOMENTS: tuple[Moment, ...] = get_args(Moment)
FinalValue = Literal["adjudicator", "mean", "median"]
Together = Literal["either", "both"]
Condition = Literal["loading", "rhythm", "filling", "moment"]
Hidden = Literal[
    "header",
    "file_name",
    "other_reads",
    "size_rows",
    "cross_section",
    "scale_comparison",
    "repeats",
    "millimetres_while_drawing",
]


def moment_of(words: str | None) -> Moment | None:
    """Return which of a protocol's moments some words name, None where they name none.

    Case, spaces and hyphens do not matter: "End systole" is `end_systole`.
    """
    plain = "_".join((words or "").lower().replace("-", " ").replace("_", " ").split())
    return next((one for one in MOMENTS if one == plain), None)


def moment_key(words: str | None) -> str:
    """Return what tells whether two moments in somebody's words are one; empty where none is."""
    return moment_of(words) or " ".join((words or "").lower().split())


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One view in which a quantity is wanted.

    Attributes
    ----------
    modality : {"US", "XA"}
    plane_deg : float or None
        Of ultrasound: the multiplane angle, 0 to 180.
    primary_deg, secondary_deg : float or None
        Of X-ray: RAO negative, LAO positive; cranial positive, caudal negative (DICOM PS3.3
        C.8.7.5). None takes any projection.
    within_deg : float
        How far a loop's angle may be off and still count as this view.
    """

    modality: Literal["US", "XA"]
    plane_deg: float | None = None
    primary_deg: float | None = None
    secondary_deg: float | None = None
    within_deg: float = 10.0

    @property
    def title(self) -> str:
        """The view in a reader's words."""
        if self.modality == "US":
            return f"echo {self.plane_deg:g}°" if self.plane_deg is not None else "echo, any plane"
        if self.primary_deg is None or self.secondary_deg is None:
            return "X-ray, any projection"
        side = "RAO" if self.primary_deg < 0 else "LAO"
        tip = "cranial" if self.secondary_deg > 0 else "caudal"
        return f"X-ray {side} {abs(self.primary_deg):g}° {tip} {abs(self.secondary_deg):g}°"

    def matches(
        self,
        modality: str,
        *,
        plane_deg: float | None = None,
        primary_deg: float | None = None,
        secondary_deg: float | None = None,
    ) -> bool:
        """Whether a loop taken so shows this view."""
        if modality != self.modality:
            return False
        if self.modality == "US":
            return self.plane_deg is None or (
                plane_deg is not None and _apart(plane_deg, self.plane_deg, 180) <= self.within_deg
            )
        wanted = (self.primary_deg, self.secondary_deg)
        taken = (primary_deg, secondary_deg)
        return all(
            want is None or (have is not None and _apart(have, want, 360) <= self.within_deg)
            for want, have in zip(wanted, taken, strict=True)
        )


def _apart(one_deg: float, other_deg: float, turn_deg: float) -> float:
    """Return the angle between two directions that repeat after `turn_deg`."""
    apart = (one_deg - other_deg) % turn_deg
    return min(apart, turn_deg - apart)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRule:
    """What a protocol asks of one quantity.

    Attributes
    ----------
    quantity : str
        Name of a measurand.
    definition, source : str
        Where its points lie, and who says so.
    views : tuple of View
    repeats, beats : int
        Independent readings of each view, and beats over which each is taken.
    moment : str
        Of the cycle.
    required : bool
        Whether a read without it is incomplete.
    """

    quantity: str
    definition: str
    source: str
    views: tuple[View, ...]
    repeats: int = 1
    beats: int = 1
    moment: Moment = "any"
    required: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjudication:
    """When two readers are too far apart, and what then holds.

    Attributes
    ----------
    apart_mm, apart_percent : float or None
        Limits of the difference; None does not look.
    limits : {"either", "both"}
        Whether one limit passed is enough, or both must be.
    another_size_row : bool
        Whether different rows of a size chart are too far apart by themselves.
    final : {"adjudicator", "mean", "median"}
        Which value holds in the end.
    """

    apart_mm: float | None = None
    apart_percent: float | None = None
    limits: Together = "either"
    another_size_row: bool = False
    final: FinalValue = "adjudicator"

    def asks_for_a_third(self, first: float, second: float, *, rows_differ: bool = False) -> bool:
        """Whether two readings are further apart than allowed.

        Parameters
        ----------
        first, second : float
            In mm.
        rows_differ : bool
            Whether they lie in different rows of a size chart, where one is at hand.
        """
        if self.another_size_row and rows_differ:
            return True
        apart = abs(first - second)
        middle = abs(first + second) / 2
        passed = []
        if self.apart_mm is not None:
            passed.append(apart > self.apart_mm)
        if self.apart_percent is not None:
            passed.append(100 * apart > self.apart_percent * middle)
        return bool(passed) and (any(passed) if self.limits == "either" else all(passed))


@dataclass(frozen=True, slots=True, kw_only=True)
class Blinding:
    """What a blinded reader does not see, and how many loops come back unannounced."""

    hide: tuple[Hidden, ...] = ()
    hidden_repeat_share: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """How a study is read.

    Attributes
    ----------
    name, version, title : str, int, str
    quantities : tuple of QuantityRule
    size_by : str
        The diameter by which a size chart is entered.
    landing_zone_inside_mm : float or None
        How far inside the ostium the landing zone lies, along the neck's axis.
    gap_scheme : str or None
        Named scheme by which a residual gap is classed.
    conditions : tuple of str
        Asked for with every loop; "not stated" is an answer.
    """

    name: str
    version: int
    title: str
    quantities: tuple[QuantityRule, ...]
    size_by: SizeBy = "largest"
    landing_zone_inside_mm: float | None = None
    gap_scheme: str | None = None
    conditions: tuple[Condition, ...] = ("loading", "rhythm")
    adjudication: Adjudication = Adjudication()
    blinding: Blinding = Blinding()

    def rules(self) -> Mapping[str, QuantityRule]:
        """Return the rule of each quantity by its name."""
        return {one.quantity: one for one in self.quantities}

    @property
    def label(self) -> str:
        """Name and version, as in a table."""
        return f"{self.name} {self.version}"

    @property
    def fingerprint(self) -> str:
        """Digest of everything the protocol says; twelve hexadecimal digits of SHA-256."""
        text = json.dumps(asdict(self), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()[:12]
