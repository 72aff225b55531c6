"""What is measured after an implant: the device, where it sits, what it leaves open."""

from annot.vocabulary.measurand import Measurand

ORDER = "its four points in this order"

WIDTHS = tuple(
    Measurand(
        name=f"device_{place}_width",
        title=f"Device width, {words}",
        meaning=f"across the device at {where}, outer edge to outer edge, square to its own axis",
        source="common practice, no source",
        tilt_in_plane="seen_long",
        plausible_mm=(5.0, 45.0),
    )
    for place, words, where in (
        ("face", "face", "its face towards the atrium"),
        ("shoulder", "shoulder", "the widest place of the part that holds it"),
        ("end", "far end", "its end deep in the appendage"),
    )
)
RIDGE_DISTANCE = Measurand(
    name="ridge_distance",
    title="Distance to the ridge's tip",
    meaning="from the edge of the device's face to the tip of the ridge beside it",
    source="ridge tip to device face: common practice, no source; ends by own definition",
    tilt_in_projection="seen_short",
    plausible_mm=(0.0, 25.0),
)
GAP_WIDTH = Measurand(
    name="gap_width",
    title="Residual gap",
    meaning=(
        "the narrowest place of an open way between the device's edge and the wall; a colour jet's "
        "width also depends on scale, gain and beam direction"
    ),
    source="common practice, no source",
    tilt_in_plane="seen_long",
    plausible_mm=(0.0, 15.0),
)
NEIGHBOURS = tuple(
    Measurand(
        name=f"{name}_distance",
        title=f"Distance to the {words}",
        meaning=f"the shortest way from the device's edge to the {words} in the view that shows it",
        source="checklist in Miura et al. (PMC12926309) names the neighbour; way by own definition",
        tilt_in_projection="seen_short",
        plausible_mm=(0.0, 40.0),
    )
    for name, words in (
        ("circumflex", "circumflex artery"),
        ("mitral", "mitral leaflet"),
        ("vein", "left upper pulmonary vein"),
        ("artery", "pulmonary artery"),
    )
)
PROTRUSION = Measurand(
    name="protrusion",
    title="Protrusion",
    meaning=(
        "of the device's face beyond the ostium's line, into the atrium positive: wall beside the "
        f"circumflex, ridge tip, any point inside the appendage, the face; {ORDER}"
    ),
    source="face against the ostium's line: common practice, no source; sign by own definition",
    kind="points",
    form="offset",
    min_points=4,
    max_points=4,
    plausible_mm=(-30.0, 20.0),
)
AXIS_TILT = Measurand(
    name="axis_tilt",
    title="Axis tilt",
    meaning=(
        "between the neck's axis and the device's, each from the ostium's side inwards: two points "
        f"on the neck's axis, two on the device's, {ORDER}"
    ),
    source="Fukutomi, EuroIntervention (EIJ-D-21-00555), by analogy: axis against axis",
    kind="points",
    form="between",
    min_points=4,
    max_points=4,
    plausible_mm=(0.0, 90.0),
)
OSTIUM_COVER = Measurand(
    name="ostium_cover",
    title="Cover of the ostium",
    meaning=(
        "share of the ostium's line that the device's face covers, seen square to that line: wall "
        f"beside the circumflex, ridge tip, the face's edge next to each, {ORDER}"
    ),
    source="own definition",
    kind="points",
    form="cover",
    min_points=4,
    max_points=4,
    plausible_mm=(0.5, 1.0),
)

DEVICE_MEASURANDS = (
    *WIDTHS,
    PROTRUSION,
    AXIS_TILT,
    OSTIUM_COVER,
    GAP_WIDTH,
    RIDGE_DISTANCE,
    *NEIGHBOURS,
)

# by the width that a compression follows from; plausible by common practice, no source
_COMPRESSED = {
    one.name: Measurand(
        name=f"{one.name.removesuffix('_width')}_compression",
        title=f"Compression, {one.title.rpartition(', ')[2]}",
        meaning=f"nominal width less the {one.title.lower()}, as a share of the nominal width",
        source="common practice, no source",
        form="compression",
        plausible_mm=(-0.05, 0.5),
    )
    for one in WIDTHS
}
COMPRESSIONS = {width: one.outcomes[0] for width, one in _COMPRESSED.items()}
RIDGE_SWING = Measurand(
    name="ridge_swing",
    title="Swing against the ridge",
    meaning=(
        "largest less smallest distance from the device's face to the ridge's tip over the loop, "
        "both ends followed from frame to frame: how the device moves against the wall"
    ),
    source="own definition",
    form="swing",
    plausible_mm=(0.0, 8.0),
)
FOLLOWING = {one.name: one for one in (*_COMPRESSED.values(), RIDGE_SWING)}
