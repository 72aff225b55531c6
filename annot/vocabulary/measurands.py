"""What is measured: the names that stand in files and tables, and what each one means."""

from dataclasses import dataclass
from typing import Literal

Tilt = Literal["none", "seen_short", "seen_long"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurand:
    """A length that a caliper gives.

    Attributes
    ----------
    name : str
        As in files and tables.
    title : str
        As on screen.
    meaning : str
        Where its ends lie, for a reader.
    source : str
        Where the definition comes from.
    max_points : int
        2 for a straight caliper, more where a path along a bend is allowed.
    tilt_in_projection, tilt_in_plane : {"none", "seen_short", "seen_long"}
        How a tilt shows in an X-ray projection and in an ultrasound plane.
    plausible_mm : (float, float)
        Outside it a table warns; nothing is refused.
    """

    name: str
    title: str
    meaning: str
    source: str
    max_points: int = 2
    tilt_in_projection: Tilt = "none"
    tilt_in_plane: Tilt = "none"
    plausible_mm: tuple[float, float]


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
    plausible_mm=(5.0, 60.0),
)
DISTANCE = Measurand(
    name="distance",
    title="Distance",
    meaning="between two points, for checks against an object or a figure in the picture",
    source="own definition",
    plausible_mm=(0.0, 1000.0),
)

MEASURANDS = {one.name: one for one in (OSTIUM_WIDTH, LANDING_ZONE_WIDTH, DEPTH, DISTANCE)}
