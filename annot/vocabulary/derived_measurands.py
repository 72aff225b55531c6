"""What follows from landmarks by rule, so that nobody draws it."""

from annot.vocabulary.measurand import Measurand, Tilt

# a length between places in space is seen short wherever it leans out of the picture
SHORT: Tilt = "seen_short"


def _path(
    *,
    name: str,
    title: str,
    meaning: str,
    source: str,
    plausible_mm: tuple[float, float] = (5.0, 60.0),
    points: int = 2,
) -> Measurand:
    return Measurand(
        name=name,
        title=title,
        meaning=meaning,
        source=source,
        min_points=points,
        max_points=points,
        tilt_in_projection=SHORT,
        tilt_in_plane=SHORT,
        first_end="free",
        plausible_mm=plausible_mm,
    )


def _corner(*, name: str, title: str, meaning: str, source: str) -> Measurand:
    return Measurand(
        name=name,
        title=title,
        meaning=meaning,
        source=source,
        kind="angle",
        min_points=3,
        max_points=3,
        plausible_mm=(0.0, 1000.0),
    )


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
        _path(
            name="depth_straight",
            title="Depth, straight",
            meaning="straight from the middle of the ostium to the end of the intended lobe",
            source="common practice, no source",
        ),
        _path(
            name="depth_bent",
            title="Depth along the bend",
            meaning="from the middle of the ostium over the bend to the lobe's end",
            source="J Struct Heart Dis 2019;5(5):215 for the bend; path by own definition",
            points=3,
        ),
        _path(
            name="bend_distance",
            title="Distance to the bend",
            meaning="straight from the middle of the ostium to the bend",
            source="J Struct Heart Dis 2019;5(5):215: the ostium's plane to the first bend",
            plausible_mm=(2.0, 50.0),
        ),
        _path(
            name="second_lobe_depth",
            title="Depth of the second lobe",
            meaning="straight from the middle of the ostium to the end of the next largest lobe",
            source="own definition, as the depth of the intended lobe",
            plausible_mm=(2.0, 60.0),
        ),
        _path(
            name="crossing_distance",
            title="Distance of the crossing",
            meaning="straight from where the sheath passes the septum to the ostium's middle",
            source="own definition",
            plausible_mm=(10.0, 90.0),
        ),
        _corner(
            name="neck_angle_by_landmarks",
            title="Neck angle by landmarks",
            meaning="at the bend, from the axis's outer point to the lobe's end; 180° is straight",
            source="own definition",
        ),
        _corner(
            name="crossing_angle",
            title="Angle of the crossing",
            meaning=(
                "at the middle of the ostium, from the septal crossing to the neck axis's inner "
                "point; 180° is in line"
            ),
            source=(
                "Fukutomi, EuroIntervention (EIJ-D-21-00555): within 30° of the axis counts as in "
                "line there"
            ),
        ),
    )
}
