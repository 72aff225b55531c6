"""What is measured: the names that stand in files and tables, and what each one means."""

from dataclasses import dataclass
from typing import Literal

Tilt = Literal["none", "seen_short", "seen_long"]
Kind = Literal["length", "angle", "contour"]
Form = Literal["length", "angle", "area", "perimeter", "area_diameter", "perimeter_diameter"]

_UNITS = {"angle": "deg", "area": "mm2"}


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
        """Unit under a scale: mm, mm2 or deg."""
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
    kind : {"length", "angle", "contour"}
        A straight line or path, three points with the corner in the middle, or a closed curve.
    min_points, max_points : int
        2 and 2 for a straight caliper; more where a path along a bend or a contour is drawn.
    tilt_in_projection, tilt_in_plane : {"none", "seen_short", "seen_long"}
        How a tilt shows in an X-ray projection and in an ultrasound plane.
    first_end : {"wall", "free"}
        Whether the first point lies on a wall, so that an edge can be looked for there.
    plausible_mm : (float, float)
        Of the length, or of a contour's diameters; outside it a table warns.
    """

    name: str
    title: str
    meaning: str
    source: str
    kind: Kind = "length"
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
        plausible = self.plausible_mm if self.kind == "length" else (20.0, 180.0)
        return (Outcome(name=self.name, title=self.title, form=self.kind, plausible=plausible),)


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


OSTIUM_WIDTH = Measurand(
    name="ostium_width",
    title="Ostium width",
    meaning=(
        "from the circumflex side of the orifice to the tip of the ridge towards the left upper "
        "pulmonary vein, wall to wall"
    ),
    source="common practice, no source",
    tilt_in_plane="seen_long",
    plausible_mm=(8.0, 45.0),
)
LANDING_ZONE_WIDTH = Measurand(
    name="landing_zone_width",
    title="Landing zone width",
    meaning="inside the neck, wall to wall, square to the neck's axis",
    source="common practice, no source",
    tilt_in_plane="seen_long",
    plausible_mm=(8.0, 40.0),
)
DEPTH = Measurand(
    name="depth",
    title="Depth",
    meaning="from the middle of the ostium to the end of the intended lobe; may follow a bend",
    source="common practice, no source",
    max_points=12,
    tilt_in_projection="seen_short",
    tilt_in_plane="seen_short",
    first_end="free",
    plausible_mm=(5.0, 60.0),
)
DISTANCE = Measurand(
    name="distance",
    title="Distance",
    meaning="between two points, for checks against an object or a figure in the picture",
    source="own definition",
    plausible_mm=(0.0, 1000.0),
)
NECK_ANGLE = Measurand(
    name="neck_angle",
    title="Neck angle",
    meaning=(
        "between the neck's axis and the lobe's at the bend, as seen in one view: a point on the "
        "neck's axis, the bend, a point on the lobe's axis; 180° is straight"
    ),
    source="own definition",
    kind="angle",
    min_points=3,
    max_points=3,
    plausible_mm=(0.0, 1000.0),
)
OSTIUM_CONTOUR = Measurand(
    name="ostium_contour",
    title="Ostium contour",
    meaning="once round the orifice's inner edge in a view square to the neck's axis",
    source="common practice, no source",
    kind="contour",
    min_points=8,
    max_points=200,
    tilt_in_projection="seen_short",
    tilt_in_plane="seen_long",
    plausible_mm=(8.0, 45.0),
)
LANDING_ZONE_CONTOUR = Measurand(
    name="landing_zone_contour",
    title="Landing zone contour",
    meaning="once round the landing zone's inner edge in a view square to the neck's axis",
    source="common practice, no source",
    kind="contour",
    min_points=8,
    max_points=200,
    tilt_in_projection="seen_short",
    tilt_in_plane="seen_long",
    plausible_mm=(8.0, 40.0),
)

MEASURANDS = {
    one.name: one
    for one in (
        OSTIUM_WIDTH,
        LANDING_ZONE_WIDTH,
        DEPTH,
        DISTANCE,
        NECK_ANGLE,
        OSTIUM_CONTOUR,
        LANDING_ZONE_CONTOUR,
    )
}
OUTCOMES = {
    outcome.name: outcome for measurand in MEASURANDS.values() for outcome in measurand.outcomes
}
