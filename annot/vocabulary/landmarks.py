"""Named points of a read, and the quantities that follow from them by a rule."""

from dataclasses import dataclass

from annot.vocabulary.measurands import MEASURANDS, Measurand


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkName:
    """A point that a reader marks once and quantities are derived from.

    Attributes
    ----------
    name, title, meaning : str
    points : int
        1, or 2 for an axis.
    """

    name: str
    title: str
    meaning: str
    points: int = 1


LANDMARKS = {
    one.name: one
    for one in (
        LandmarkName(
            name="septal_crossing",
            title="Septal crossing",
            meaning="where the sheath passes the septum",
        ),
        LandmarkName(
            name="ridge_tip",
            title="Ridge tip",
            meaning="tip of the ridge towards the left upper pulmonary vein",
        ),
        LandmarkName(
            name="circumflex",
            title="Wall beside the circumflex",
            meaning="inner edge of the orifice's wall beside the circumflex artery",
        ),
        LandmarkName(
            name="ostium_centre",
            title="Middle of the ostium",
            meaning="middle of the ostium; without it, half way from circumflex to ridge tip",
        ),
        LandmarkName(
            name="neck_axis",
            title="Neck's axis",
            meaning="two points on the neck's axis, from the ostium inwards",
            points=2,
        ),
        LandmarkName(
            name="appendage_end",
            title="End of the appendage",
            meaning="end of the intended lobe",
        ),
    )
}

DERIVED = {
    one.name: one
    for one in (
        Measurand(
            name="ostium_by_landmarks",
            title="Ostium by landmarks",
            meaning="from the wall beside the circumflex to the ridge tip, both placed once",
            source="EHRA/EAPCI consensus 2019, from memory",
            tilt_in_plane="seen_long",
            plausible_mm=(8.0, 45.0),
        ),
        Measurand(
            name="depth_straight",
            title="Depth, straight",
            meaning="straight from the middle of the ostium to the end of the intended lobe",
            source="common practice, no source",
            tilt_in_projection="seen_short",
            tilt_in_plane="seen_short",
            first_end="free",
            plausible_mm=(5.0, 60.0),
        ),
        Measurand(
            name="depth_bent",
            title="Depth along the bend",
            meaning="from the middle of the ostium over the axis's inner point to the lobe's end",
            source="J Struct Heart Dis 2019;5(5):215 for the bend; path by own definition",
            min_points=3,
            max_points=3,
            tilt_in_projection="seen_short",
            tilt_in_plane="seen_short",
            first_end="free",
            plausible_mm=(5.0, 60.0),
        ),
        Measurand(
            name="neck_angle_by_landmarks",
            title="Neck angle by landmarks",
            meaning=(
                "at the axis's inner point, from its outer one to the lobe's end; 180° is straight"
            ),
            source="own definition",
            kind="angle",
            min_points=3,
            max_points=3,
            plausible_mm=(0.0, 1000.0),
        ),
    )
}
# what a protocol may ask for: drawn, or derived
QUANTITIES = {**MEASURANDS, **DERIVED}
