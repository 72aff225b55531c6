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
    value=0.004,
    unit="1",
    meaning="relative error of the tube model against a tube",
    source="own renderings almost without noise, tests/against_truth/test_shaft_model.py: root "
    "mean square 0.20 %; up to 1.1 % where the blur is less than half a pixel",
)
SHAFT_SAMPLING_REL = Allowance(
    value=0.02,
    unit="1",
    meaning="what values between pixels miss of a shadow's depth if the blur is next to nothing",
    source="own renderings without noise: 1.3 % of the depth at a blur of 0.3 px, 0.8 % at 0.45 "
    "px, 0.2 % at 0.7 px, as what a Gaussian leaves at half a cycle per pixel, exp(-(π·blur)²/2)",
)
BALL_MODEL_REL = Allowance(
    value=0.003,
    unit="1",
    meaning="relative error of the ball model against a real ball",
    source="own renderings: up to 0.1 %",
)
LUMEN_RATIO_LOWEST = Allowance(
    value=0.55,
    unit="1",
    meaning="least inner over outer diameter of a shaft whose wall nobody stated (rectangular)",
    source="from memory: braided diagnostic catheters and pigtails begin near 0.6",
)
LUMEN_RATIO_HIGHEST = Allowance(
    value=0.90,
    unit="1",
    meaning="largest inner over outer diameter of a shaft whose wall nobody stated (rectangular)",
    source="from memory: thin-walled guiding catheters and sheaths end near 0.9",
)
WALL_DEPTH = Allowance(
    value=0.77,
    unit="1",
    meaning="usual optical depth of a path of one outer diameter through a shaft's wall",
    source="common practice, no source: plastics with barium or braid, 70 to 90 kV, 0.3 to 2.0, "
    "flat in its logarithm",
)
WALL_DEPTH_LOG = Allowance(
    value=0.55,
    unit="1",
    meaning="standard uncertainty of the logarithm of the wall's depth: a factor of 1.7",
    source="own arithmetic, that of a depth from 0.3 to 2.0, ln(2.0/0.3)/√12",
)
LUMEN_DEPTH = Allowance(
    value=0.87,
    unit="1",
    meaning="usual optical depth of a path of one outer diameter through contrast in a lumen",
    source="common practice, no source: diluted to undiluted contrast in 5 to 14 French, 0.3 to "
    "2.5, flat in its logarithm",
)
LUMEN_DEPTH_LOG = Allowance(
    value=0.61,
    unit="1",
    meaning="standard uncertainty of the logarithm of the lumen's depth: a factor of 1.8",
    source="own arithmetic, that of a depth from 0.3 to 2.5, ln(2.5/0.3)/√12",
)
PRIMARY_SHARE = Allowance(
    value=0.80,
    unit="1",
    meaning="share of primary beam in the light beside the object, the rest being scatter",
    source="common practice, no source: scatter and glare add nothing to two thirds to the primary "
    "beam, so that its share is 0.6 to 1",
)
PRIMARY_SHARE_U = Allowance(
    value=0.12,
    unit="1",
    meaning="standard uncertainty of the share of primary beam",
    source="own arithmetic, that of a share flat in 0.6 to 1, 0.4/√12",
)
BLUR_PX = Allowance(
    value=1.2,
    unit="px",
    meaning="usual standard deviation of the system's blur",
    source="common practice, no source: focal spot, motion and detector",
)
BLUR_LOG = Allowance(
    value=0.6,
    unit="1",
    meaning="standard uncertainty of the logarithm of the blur: a factor of 1.8 either way",
    source="common practice, no source",
)
GLARE_WIDTH = Allowance(
    value=3.0,
    unit="1",
    meaning="width of the blur's wide part (glare) over that of its core",
    source="common practice, no source: light spreading in the detector's screen",
)
GLARE_SHARE_U = Allowance(
    value=0.15,
    unit="1",
    meaning="standard uncertainty of the share of the blur that is glare, zero being likeliest",
    source="common practice, no source",
)
THREAD_WIDTH = Allowance(
    value=0.04,
    unit="1",
    meaning="half-thickness of a denser thread in a wall over the outer diameter",
    source="common practice, no source: it fits into a wall of some 0.15 diameters",
)
THREAD_WIDTH_LOG = Allowance(
    value=0.4,
    unit="1",
    meaning="standard uncertainty of the logarithm of the thread's thickness",
    source="common practice, no source",
)
BLACK_SHARE = Allowance(
    value=0.05,
    unit="1",
    meaning="share of the brightest twentieth of a frame below which its border counts as blades",
    source="common practice, no source: scatter behind lead stays below a twentieth",
)
LOG_GAIN = Allowance(
    value=1.4,
    unit="1",
    meaning="factor either way of the gain of stored logarithms whose table the file leaves out",
    source="common practice, no source",
)
RELATION_REL = Allowance(
    value=0.04,
    unit="1",
    meaning="relative error of a size from pixels of unknown relation to intensity, where the "
    "picture cannot be fitted in another relation",
    source="own convolution of blurred cylinders: half-depth widths before and after a logarithm "
    "differ by 5 % at an optical depth of 0.5",
)
FILLING_REL = Allowance(
    value=0.01,
    unit="1",
    meaning="relative change of a shaft's shadow by its filling and material",
    source="no source that agrees with the next: published phantom studies put the effect of "
    "filling and material between -16 and +10 %, with edge methods of their own",
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

LEAST_SPACING_MM = Allowance(
    value=0.04,
    unit="mm",
    meaning="smaller pixels than this, at the patient, are said to be unusual",
    source="common practice, no source: angiography shows 0.1 to 0.4 mm per pixel, ultrasound of "
    "the heart 0.05 to 0.5 mm",
)
LARGEST_SPACING_MM = Allowance(
    value=1.0,
    unit="mm",
    meaning="larger pixels than this, at the patient, are said to be unusual",
    source="common practice, no source: as for the smallest",
)
THINNEST_SHAFT_MM = Allowance(
    value=1.0,
    unit="mm",
    meaning="thinner catheters and sheaths than this are said to be unusual",
    source="common practice, no source: 3 French, the thinnest that are led to the heart",
)
WIDEST_SHAFT_MM = Allowance(
    value=9.0,
    unit="mm",
    meaning="wider catheters and sheaths than this are said to be unusual",
    source="common practice, no source: 27 French, above the widest sheaths of a heart's left side",
)

SHARED_PART = Allowance(
    value=0.8,
    unit="1",
    meaning="part of a header allowance that all loops of one imaging system share",
    source="common practice, no source: with 0.6 for the loop's own part, 0.8² + 0.6² = 1",
)
OWN_PART = Allowance(
    value=0.6,
    unit="1",
    meaning="part of a header allowance that belongs to one loop alone",
    source="common practice, no source: the rest of the whole beside the shared part of 0.8",
)
REFERENCE_OFF_ISOCENTRE_MM = Allowance(
    value=100.0,
    unit="mm",
    meaning="how far a reference object may lie off the isocentre along the beam",
    source="from memory: half the depth of a chest",
)
SAME_ANGLE_DEG = Allowance(
    value=1.0,
    unit="deg",
    meaning="positioner angles no further apart than this count as the same",
    source="own geometry: 80 mm off the isocentre a turn of 1° moves by 1.4 mm along the beam, "
    "0.2 % of 750 mm",
)
SAME_GEOMETRY_REL = Allowance(
    value=0.001,
    unit="1",
    meaning="distances, spacings and sizes no further apart than this count as the same",
    source="common practice, no source: the last digit of a stand's stored distances",
)
STEEPEST_BEAM_DEG = Allowance(
    value=60.0,
    unit="deg",
    meaning="steepest beam, against the vertical, for which a height above the table gives a scale",
    source="PS3.3 C.8.19.6.9: without limit at 90°, automatic use to about ±60°",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthPreset:
    """A usual place of a reference object, as a range of the anatomy's depth against it.

    `low` and `high` are in mm along the beam, positive where the anatomy is nearer to the source.
    """

    low: float
    high: float
    meaning: str
    source: str


DEPTH_PRESETS = {
    "beside": DepthPreset(
        low=-20.0,
        high=20.0,
        meaning="object in the same chamber as the anatomy",
        source=DEPTH_OFFSET_MM.source,
    ),
    "other-chamber": DepthPreset(
        low=-50.0,
        high=50.0,
        meaning="object in another chamber or in the aorta",
        source="from memory: chambers of one heart lie within 5 cm along the beam",
    ),
    "skin-detector-side": DepthPreset(
        low=40.0,
        high=120.0,
        meaning="object on the skin on the detector's side: the anatomy is nearer to the source",
        source="from memory: the left atrium lies 4 to 12 cm below the skin",
    ),
    "skin-source-side": DepthPreset(
        low=-120.0,
        high=-40.0,
        meaning="object on the skin on the source's side: the anatomy is farther from the source",
        source="from memory: the left atrium lies 4 to 12 cm below the skin",
    ),
}


def all_allowances() -> dict[str, Allowance]:
    """Return every allowance of this page by its name in lower case."""
    return {
        name.lower(): value for name, value in globals().items() if isinstance(value, Allowance)
    }


def all_depth_presets() -> dict[str, DepthPreset]:
    """Return every preset of depth by its name."""
    return dict(DEPTH_PRESETS)
