"""Named points of a read, and the quantities that follow from them by a rule."""

from dataclasses import dataclass

from annot.vocabulary.derived_measurands import DERIVED
from annot.vocabulary.device_measurands import FOLLOWING
from annot.vocabulary.measurands import MEASURANDS


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
            name="bend",
            title="Bend",
            meaning="where the neck's axis meets the lobe's; without it, the axis's inner point",
        ),
        LandmarkName(
            name="appendage_end",
            title="End of the appendage",
            meaning="end of the intended lobe",
        ),
        LandmarkName(
            name="second_lobe_end",
            title="End of the second lobe",
            meaning="end of the next largest lobe",
        ),
    )
}

# what a protocol may ask for: drawn, derived from landmarks, or following from what was drawn
QUANTITIES = {**MEASURANDS, **DERIVED, **FOLLOWING}

__all__ = ["DERIVED", "LANDMARKS", "QUANTITIES", "LandmarkName"]
