"""The true size of a reference object, as somebody knows it: label, certificate or micrometer."""

from dataclasses import dataclass
from typing import Literal

from annot.calibration.allowances import LABEL_STEP, SHEATH_LABEL_STEP
from annot.errors import InputError
from annot.uncertainty import InputQuantity, rectangular

LARGEST_MM = 500.0  # larger than any detector sees
MM_PER_FRENCH = 1 / 3  # the French scale's definition: one third of a millimetre
SizeSource = Literal["label", "measured"]
Surface = Literal["outer", "inner"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSize:
    """A size in mm with its tolerance and where the figure comes from.

    Attributes
    ----------
    size_mm : float
        The figure as given, before any correction.
    tolerance_mm : float
        Half-width of the interval that holds the true size.
    source : {"label", "measured"}
        `measured`: the figure ± tolerance as it stands. `label`: the trade's rounding applies.
    name : str
        What the object is, for the budget: "catheter", "sphere", "length".
    object_name : str
        Which one it is, as a person calls it; empty where all of one size count as the same.
    rounded : {"up", "down"}
        Which way the label was rounded: up for a catheter's outside, down for a sheath's inside.
    size_fr : float or None
        The size on the French scale, where it was given so.
    assumed : str
        Where the tolerance comes from when nobody stated one; empty for a stated one.

    Raises
    ------
    InputError
        If size or tolerance is no positive number, the tolerance reaches the size, or a label
        is no larger than its own rounding.
    """

    size_mm: float
    tolerance_mm: float
    source: SizeSource
    name: str
    size_fr: float | None = None
    assumed: str = ""
    object_name: str = ""
    rounded: Literal["up", "down"] = "up"

    def __post_init__(self) -> None:
        least = LABEL_STEP.value if self.source == "label" else 0.0
        if not least < self.size_mm <= LARGEST_MM:
            raise InputError(
                f"A {self.name} of {self.size_mm:g} mm is no size: give a number above "
                f"{least:g} and up to {LARGEST_MM:g} mm."
            )
        if not 0 < self.tolerance_mm < self.size_mm:
            raise InputError(
                f"A tolerance of ±{self.tolerance_mm:g} mm does not fit a {self.name} of "
                f"{self.size_mm:g} mm: give a positive number below the size."
            )

    @property
    def object_id(self) -> str:
        """Identity shared by every scale made from this object, for correlation in tables."""
        parts = [
            *self.name.split(),
            *self.object_name.split(),
            f"{self.size_mm:g}mm",
            self.source,
            f"{self.tolerance_mm:g}",
            *(["assumed"] if self.assumed else []),
        ]
        return "-".join(parts)

    def quantity(self) -> InputQuantity:
        """Return the size as an input of the budget, in mm."""
        if self.source == "label":
            return self._from_label()
        return rectangular(
            self.size_mm,
            self.tolerance_mm,
            key=self.object_id,
            unit="mm",
            component="object",
            source=(
                f"{self._words} of {self.size_mm:g} mm ± {self.tolerance_mm:g} mm, "
                + (f"tolerance not stated: {self.assumed}" if self.assumed else "as stated")
            ),
        )

    def _from_label(self) -> InputQuantity:
        """Undo the label's rounding: the true size lies in (label − step, label], or above it."""
        half_step = LABEL_STEP.value / 2
        up = self.rounded == "up"
        step = LABEL_STEP if up else SHEATH_LABEL_STEP
        return rectangular(
            self.size_mm - half_step if up else self.size_mm + half_step,
            half_step,
            key=self.object_id,
            unit="mm",
            component="object",
            source=(
                f"{self._words} labelled {self.size_mm:g} mm: labels are rounded {self.rounded} to "
                f"{step.value:g} mm ({step.source}), so {half_step:g} mm is "
                + ("taken off" if up else "added")
            ),
        )

    @property
    def _words(self) -> str:
        return f"{self.name} '{self.object_name}'" if self.object_name else self.name


def french_to_mm(size_fr: float) -> float:
    """Return the outer diameter in mm of a size on the French scale (1 Fr = 1/3 mm)."""
    return size_fr * MM_PER_FRENCH
