"""What is measured: the names that stand in files and tables, and what each one means."""

from annot.vocabulary.device_measurands import DEVICE_MEASURANDS, FOLLOWING
from annot.vocabulary.measurand import POINT_FORMS, Form, Kind, Measurand, Outcome, Tilt

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
        *DEVICE_MEASURANDS,
    )
}
OUTCOMES = {
    outcome.name: outcome for measurand in MEASURANDS.values() for outcome in measurand.outcomes
}
# lengths with a side
OFFSETS = {name for name, one in OUTCOMES.items() if one.form == "offset"}
# what may lie on either side of zero
SIGNED = OFFSETS | set(FOLLOWING)

__all__ = [
    "MEASURANDS",
    "OFFSETS",
    "OUTCOMES",
    "POINT_FORMS",
    "SIGNED",
    "Form",
    "Kind",
    "Measurand",
    "Outcome",
    "Tilt",
]
