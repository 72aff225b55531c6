"""The true size of a reference object, as somebody knows it: label, certificate or micrometer."""

from dataclasses import dataclass
from typing import Literal

from annot.calibration.allowances import LABEL_STEP
from annot.uncertainty import InputQuantity, rectangular

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
    size_fr : float or None
        The size on the French scale, where it was given so.
    """

    size_mm: float
    tolerance_mm: float
    source: SizeSource
    name: str
    size_fr: float | None = None

    @property
    def object_id(self) -> str:
        """Identity shared by every scale made from this object, for correlation in tables."""
        return f"{self.name}-{self.size_mm:g}mm-{self.source}-{self.tolerance_mm:g}"

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
            source=f"{self.name} of {self.size_mm:g} mm ± {self.tolerance_mm:g} mm as stated",
        )

    def _from_label(self) -> InputQuantity:
        """Undo the label's rounding: the true size lies in (label − step, label]."""
        half_step = LABEL_STEP.value / 2
        return rectangular(
            self.size_mm - half_step,
            half_step,
            key=self.object_id,
            unit="mm",
            component="object",
            source=(
                f"{self.name} labelled {self.size_mm:g} mm: labels are rounded up to "
                f"{LABEL_STEP.value:g} mm ({LABEL_STEP.source}), so {half_step:g} mm is taken off"
            ),
        )


def french_to_mm(size_fr: float) -> float:
    """Return the outer diameter in mm of a size on the French scale (1 Fr = 1/3 mm)."""
    return size_fr * MM_PER_FRENCH
