"""What a pointer can draw: a caliper for each measurand, and traces of reference objects."""

from dataclasses import dataclass

from annot.calibration import ObjectKind, ObjectRequest
from annot.geometry import PixelPoint, length_px
from annot.vocabulary import MEASURANDS, Measurand
from annot.vocabulary.landmarks import LANDMARKS

# The palette of Okabe and Ito (2008), which stays distinct under colour-blindness.
ORANGE, SKY, GREEN, YELLOW, PURPLE = "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#CC79A7"
VERMILION, WHITE = "#D55E00", "#FFFFFF"

COLOURS = {
    "ostium_width": ORANGE,
    "landing_zone_width": SKY,
    "depth": GREEN,
    "distance": YELLOW,
    "neck_angle": VERMILION,
    "ostium_contour": ORANGE,
    "landing_zone_contour": SKY,
}
SHORT_TITLES = {
    "ostium_width": "Ostium",
    "landing_zone_width": "Landing zone",
    "depth": "Depth",
    "distance": "Distance",
    "landing_zone_contour": "Landing contour",
    "device_shoulder_width": "Device shoulder",
    "device_face_width": "Device face",
    "device_end_width": "Device end",
    "axis_tilt": "Tilt of the device",
    "gap_width": "Residual gap",
    "circumflex_distance": "To circumflex",
    "mitral_distance": "To mitral valve",
    "vein_distance": "To upper vein",
    "artery_distance": "To pulmonary artery",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One thing to draw.

    Attributes
    ----------
    name : str
        Identity.
    title : str
        As on a button and beside the line.
    hint : str
        What to do with the pointer, for the status line.
    straight : bool
        Two points and done; otherwise clicks go on until Enter or a double click.
    measurand : Measurand or None
        For a caliper.
    traces : str or None
        Kind of the reference object, for a trace.
    landmark : str or None
        Name of the landmark, for one that is placed.
    """

    name: str
    title: str
    colour: str
    hint: str
    straight: bool = True
    measurand: Measurand | None = None
    traces: ObjectKind | None = None
    landmark: str | None = None


def _caliper(name: str) -> Tool:
    measurand = MEASURANDS[name]
    straight = measurand.min_points == 2
    how = {
        "length": "drag, or click both ends.",
        "angle": "click a point, the bend and a point beyond it.",
        "contour": (
            f"click {measurand.min_points} or more points round it; Enter or a double click closes."
        ),
        "points": f"click {measurand.meaning.rpartition(': ')[2]}.",
    }
    return Tool(
        name=name,
        title=SHORT_TITLES.get(name, measurand.title),
        colour=COLOURS.get(name, YELLOW),
        hint=f"{measurand.title}: {how[measurand.kind]} Esc stops.",
        straight=straight,
        measurand=measurand,
    )


CALIPER_TOOLS = tuple(_caliper(name) for name in MEASURANDS)
LANDMARK_TOOLS = tuple(
    Tool(
        name=f"place_{one.name}",
        title=one.title,
        colour=WHITE,
        hint=f"{one.title}: click {one.meaning}. Esc stops.",
        landmark=one.name,
    )
    for one in LANDMARKS.values()
)
BENT_DEPTH = Tool(
    name="bent_depth",
    title="Depth along a bend",
    colour=GREEN,
    hint="Depth along a bend: click each corner, Enter or a double click ends. Esc stops.",
    straight=False,
    measurand=MEASURANDS["depth"],
)
OBJECT_TOOLS = {
    "catheter": Tool(
        name="trace_catheter",
        title="Catheter",
        colour=PURPLE,
        hint="Catheter: drag along its axis, or click points along it and press Enter. Esc stops.",
        straight=False,
        traces="catheter",
    ),
    "markers": Tool(
        name="trace_markers",
        title="Marker bands",
        colour=PURPLE,
        hint=(
            "Marker bands: click points along the wire from beyond the first band to beyond the "
            "last, Enter ends. Esc stops."
        ),
        straight=False,
        traces="markers",
    ),
    "sphere": Tool(
        name="trace_sphere",
        title="Sphere",
        colour=PURPLE,
        hint="Sphere: drag from its centre to its rim, or click both. Esc stops.",
        traces="sphere",
    ),
    "grid": Tool(
        name="trace_grid",
        title="Grid",
        colour=PURPLE,
        hint="Grid: click its four outermost nodes in turn around it, Enter ends. Esc stops.",
        straight=False,
        traces="grid",
    ),
    "step": Tool(
        name="trace_step",
        title="Step plate",
        colour=PURPLE,
        hint="Step plate: drag square to its edges, from beyond the first to beyond the last.",
        traces="step",
    ),
    "segment": Tool(
        name="trace_segment",
        title="Known length",
        colour=PURPLE,
        hint="Known length: drag, or click both ends. Esc stops.",
        traces="segment",
    ),
}


def tool_of(measurand: Measurand) -> Tool:
    """Return the straight tool of a measurand."""
    return next(one for one in CALIPER_TOOLS if one.measurand == measurand)


def look_of(measurand: Measurand) -> tuple[str, str]:
    """Return title and colour of what is measured, drawn or derived."""
    title = SHORT_TITLES.get(measurand.name, measurand.title)
    return title, COLOURS.get(measurand.name, YELLOW)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Rough marks of a reference object, one look per frame, as drawn."""

    kind: ObjectKind
    looks: tuple[tuple[int, tuple[PixelPoint, ...]], ...] = ()

    def with_look(self, frame: int, points: tuple[PixelPoint, ...]) -> "Trace":
        """Return the trace with this frame's look put in or replaced."""
        others = [look for look in self.looks if look[0] != frame]
        return Trace(kind=self.kind, looks=tuple(sorted([*others, (frame, points)])))

    def on(self, frame: int) -> tuple[PixelPoint, ...] | None:
        """Return the look on a frame."""
        return dict(self.looks).get(frame)

    def readings(self) -> list[dict[str, object]]:
        """Return the looks as the readings of a read file."""
        return [_reading(self.kind, frame, points) for frame, points in self.looks]


TRACE_FIELD = {
    "catheter": "axis_px",
    "markers": "path_px",
    "grid": "corners_px",
    "step": "path_px",
    "segment": "points_px",
}


def _reading(kind: ObjectKind, frame: int, points: tuple[PixelPoint, ...]) -> dict[str, object]:
    pairs = [(point.row, point.column) for point in points]
    if kind == "sphere":
        return {"frame": frame, "centre_px": pairs[0], "radius_px": length_px(points[:2])}
    return {"frame": frame, TRACE_FIELD[kind]: pairs}


def trace_of(request: ObjectRequest) -> Trace:
    """Return the trace that a request was made from; a sphere's rim point is put to its right."""
    looks = []
    for reading in request.readings:
        points = reading.points
        if request.kind == "sphere":
            centre = points[0]
            points = (centre, PixelPoint(centre.row, centre.column + (reading.radius_px or 0.0)))
        looks.append((reading.frame, points))
    return Trace(kind=request.kind, looks=tuple(looks))
