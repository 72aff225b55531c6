"""What a quantity is: where its points lie, what is computed from them, what is plausible."""

from dataclasses import dataclass
from typing import Literal

Tilt = Literal["none", "seen_short", "seen_long"]
Kind = Literal["length", "angle", "contour", "points"]
Form = Literal[
    "length",
    "angle",
    "area",
    "perimeter",
    "area_diameter",
    "perimeter_diameter",
    "offset",
    "between",
    "cover",
    "compression",
    "swing",
]
# of four points in their order: a signed distance from a line, an angle between two lines, a share
POINT_FORMS = ("offset", "between", "cover")

BENDS_DEG = (20.0, 180.0)
_UNITS = {"angle": "deg", "area": "mm2", "between": "deg", "cover": "1", "compression": "1"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One number that a drawing gives: a row of the table.

    Attributes
    ----------
    name : str
        As in the table's column `quantity`.
    form : str
        What is computed from the points.
    plausible : (float, float)
        In the outcome's unit; outside it a table warns, nothing is refused.
    """

    name: str
    title: str
    form: Form
    plausible: tuple[float, float]

    @property
    def unit(self) -> str:
        """Unit under a scale: mm, mm2, deg or 1."""
        return _UNITS.get(self.form, "mm")

    @property
    def unit_px(self) -> str:
        """Unit without a scale."""
        return self.unit.replace("mm", "px")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurand:
    """What a caliper is drawn for.

    Attributes
    ----------
    name : str
        As in read files.
    title : str
        As on screen.
    meaning : str
        Where its points lie, for a reader.
    source : str
        Where the definition comes from.
    kind : {"length", "angle", "contour", "points"}
        A straight line or path, three points with the corner in the middle, a closed curve, or
        single points in a stated order.
    form : str or None
        Of single points: what is computed from them.
    min_points, max_points : int
        2 and 2 for a straight caliper; more where a path along a bend or a contour is drawn.
    tilt_in_projection, tilt_in_plane : {"none", "seen_short", "seen_long"}
        How a tilt shows in an X-ray projection and in an ultrasound plane.
    first_end : {"wall", "free"}
        Whether the first point lies on a wall, so that an edge can be looked for there.
    plausible_mm : (float, float)
        Of the length, or of a contour's diameters; of single points in the outcome's unit; outside
        it a table warns.
    """

    name: str
    title: str
    meaning: str
    source: str
    kind: Kind = "length"
    form: Form | None = None
    min_points: int = 2
    max_points: int = 2
    tilt_in_projection: Tilt = "none"
    tilt_in_plane: Tilt = "none"
    first_end: Literal["wall", "free"] = "wall"
    plausible_mm: tuple[float, float]

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """The numbers it gives: one, or a contour's area, perimeter and two diameters."""
        if self.kind == "contour":
            return _outcomes_of_contour(self)
        if self.kind == "angle":
            return (Outcome(name=self.name, title=self.title, form="angle", plausible=BENDS_DEG),)
        form = self.form or "length"
        plausible = self.plausible_mm
        return (Outcome(name=self.name, title=self.title, form=form, plausible=plausible),)


def _outcomes_of_contour(measurand: Measurand) -> tuple[Outcome, ...]:
    stem = measurand.name.removesuffix("_contour")
    words = measurand.title.removesuffix(" contour")
    low, high = measurand.plausible_mm
    forms: tuple[tuple[Form, str, tuple[float, float]], ...] = (
        # a circle's area and perimeter at both ends of the diameters' range, rounded
        ("area", "area", (round(0.785 * low**2), round(0.785 * high**2))),
        ("perimeter", "perimeter", (round(3.14 * low), round(3.14 * high))),
        ("area_diameter", "area-derived diameter", (low, high)),
        ("perimeter_diameter", "perimeter-derived diameter", (low, high)),
    )
    return tuple(
        Outcome(name=f"{stem}_{form}", title=f"{words} {text}", form=form, plausible=plausible)
        for form, text, plausible in forms
    )
