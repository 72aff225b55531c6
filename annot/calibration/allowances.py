"""Every default that an uncertainty rests on when nobody states a better one, with its origin.

All are half-widths of a rectangular distribution unless the name says otherwise. A person's
own statement always goes before them, and each shows up by name in the budget.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """A default figure, its unit and where it comes from."""

    value: float
    unit: str
    meaning: str
    source: str


CATHETER_TOLERANCE = Allowance(
    value=0.05,
    unit="mm",
    meaning="tolerance of a catheter's outer diameter whose tolerance nobody stated",
    source="from memory: measured shafts scatter by 0.02 to 0.03 mm (standard deviation)",
)
LABEL_STEP = Allowance(
    value=0.1,
    unit="mm",
    meaning="a catheter's label in mm is its true outer diameter rounded up to this step",
    source="ISO 10555-1, from memory",
)
SHEATH_LABEL_STEP = Allowance(
    value=0.1,
    unit="mm",
    meaning="a sheath's label in mm is its smallest inner diameter rounded down to this step",
    source="ISO 11070:2014, 7.2",
)
SPHERE_TOLERANCE = Allowance(
    value=0.02,
    unit="mm",
    meaning="tolerance of a sphere's diameter whose tolerance nobody stated",
    source="common practice, no source",
)
SEGMENT_TOLERANCE_REL = Allowance(
    value=0.01,
    unit="1",
    meaning="relative tolerance of a known length whose tolerance nobody stated",
    source="common practice, no source",
)
MARKER_SPACING_REL = Allowance(
    value=0.01,
    unit="1",
    meaning="relative tolerance of the spacing of marker bands whose tolerance nobody stated",
    source="common practice, no source",
)
PLATE_SPACING_REL = Allowance(
    value=0.005,
    unit="1",
    meaning="relative tolerance of the spacing of a grid or step plate, not stated",
    source="common practice, no source",
)
MARKER_TILT_DEG = Allowance(
    value=20.0,
    unit="deg",
    meaning="unknown tilt of a marked wire out of the picture's plane",
    source="common practice, no source: at 20° the scale comes out 6.4 % large",
)
PLATE_TILT_DEG = Allowance(
    value=5.0,
    unit="deg",
    meaning="unknown tilt of a grid or step plate against the detector",
    source="common practice, no source: laid flat under an upright beam",
)
MARK_CENTRE_PX = Allowance(
    value=0.04,
    unit="px",
    meaning="error of a band's or an edge's place by its model",
    source="own renderings without noise: up to 0.04 px",
)
SHAFT_MODEL_REL = Allowance(
    value=0.01,
    unit="1",
    meaning="relative error of the tube model against a real shaft",
    source="own renderings without noise: up to 0.9 %",
)
BALL_MODEL_REL = Allowance(
    value=0.003,
    unit="1",
    meaning="relative error of the ball model against a real ball",
    source="own renderings: up to 0.1 %",
)
HAND_END_PX = Allowance(
    value=1.0,
    unit="px",
    meaning="standard uncertainty of placing one end of a known length by hand",
    source="common practice, no source",
)
DEPTH_OFFSET_MM = Allowance(
    value=20.0,
    unit="mm",
    meaning="unknown difference in depth between reference object and anatomy",
    source="common practice, no source: reference within 2 cm of the anatomy along the beam",
)
SOURCE_TO_ISOCENTRE_MM = Allowance(
    value=700.0,
    unit="mm",
    meaning="distance from source to patient where the header does not give it",
    source="from memory: the short end of angiography systems, which makes the depth term largest",
)
FIDUCIAL_REL = Allowance(
    value=0.05,
    unit="1",
    meaning="relative error of a stored spacing that somebody calibrated on an object",
    source="common practice, no source: the stored spacing carries no uncertainty",
)
GEOMETRY_REL = Allowance(
    value=0.05,
    unit="1",
    meaning="relative error of a spacing computed from the stand's stored distances",
    source="common practice, no source",
)
UNKNOWN_METHOD_REL = Allowance(
    value=0.10,
    unit="1",
    meaning="relative error of a corrected spacing whose method the header does not name",
    source="common practice, no source",
)
ULTRASOUND_REL = Allowance(
    value=0.02,
    unit="1",
    meaning="relative error of an ultrasound region's spacing",
    source="from memory: action level of 2 % for horizontal distances in ultrasound phantom tests",
)


def all_allowances() -> dict[str, Allowance]:
    """Return every allowance of this page by its name in lower case."""
    return {
        name.lower(): value for name, value in globals().items() if isinstance(value, Allowance)
    }
