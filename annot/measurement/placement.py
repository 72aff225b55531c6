"""How well a point can be placed, when the reader's own repeats do not say it."""

from annot.calibration.allowances import Allowance

END_PX = Allowance(
    value=1.0,
    unit="px",
    meaning="standard uncertainty of placing one end of a caliper",
    source="common practice, no source",
)
PIXEL_HALF_WIDTH = Allowance(
    value=0.5,
    unit="px",
    meaning="half a pixel either way: an end drawn by hand stands on the picture's grid",
    source="JCGM 100:2008 F.2.2.1, resolution of an indication",
)
LEAST_REPEAT_DOF = Allowance(
    value=4.0,
    unit="1",
    meaning="degrees of freedom from which a reader's own repeats replace the default",
    source="common practice, no source: with fewer, a scatter is known to less than a third",
)
ECHO_AXIAL_MM = Allowance(
    value=0.5,
    unit="mm",
    meaning="length of an ultrasound pulse: how far apart two echoes along the beam are told apart",
    source="from memory: 0.3 to 0.5 mm",
)
ECHO_LATERAL_REL = Allowance(
    value=0.03,
    unit="1",
    meaning="width of an ultrasound beam as a part of the distance from the transducer",
    source="wavelength over aperture at 5 MHz and 10 mm, own calculation",
)
ECHO_BLIND_MM = Allowance(
    value=1.5,
    unit="mm",
    meaning="resolution of an echo in any direction where the beam's own is not known",
    source="a beam's width 50 mm from the transducer, own calculation",
)
SOUND_SPEED_REL = Allowance(
    value=0.02,
    unit="1",
    meaning="distances along the beam where sound is faster than the 1540 m/s assumed",
    source="blood at 1570 m/s shows them 1.9 % short; figures from textbooks, not looked up here",
)
BETWEEN_VERTICES = Allowance(
    value=0.25,
    unit="1",
    meaning="what lies between a contour's vertices, as a part of smooth curve minus polygon",
    source="own calculation: covers 95 % of ellipses with 8 or more uneven vertices",
)
XRAY_EDGE_PX = Allowance(
    value=0.4,
    unit="px",
    meaning="a hollow's shadow against the model of a round one, standard uncertainty",
    source="own renderings: tests/against_truth/test_refined_ends.py",
)
ECHO_EDGE_PX = Allowance(
    value=1.0,
    unit="px",
    meaning="a bright wall's inner edge against the model of half its power, standard uncertainty",
    source="own renderings: tests/against_truth/test_refined_ends.py",
)
TRACKED_XRAY_PX = Allowance(
    value=0.4,
    unit="px",
    meaning="following an end through an X-ray loop, standard uncertainty along the caliper",
    source="own renderings: tests/against_truth/test_tracked_calipers.py",
)
TRACKED_ECHO_PX = Allowance(
    value=1.0,
    unit="px",
    meaning="following an end through an echo loop, standard uncertainty along the caliper",
    source="own renderings: tests/against_truth/test_tracked_calipers.py",
)

CARRIED_MM = Allowance(
    value=2.0,
    unit="mm",
    meaning="most that landmarks may have moved on a frame where they still serve",
    source="common practice, no source",
)
CARRIED_PX = Allowance(
    value=10.0,
    unit="px",
    meaning="the same where there is no scale",
    source="common practice, no source",
)


def all_placement_allowances() -> dict[str, Allowance]:
    """Return every allowance of this page by its name in lower case."""
    return {
        name.lower(): value for name, value in globals().items() if isinstance(value, Allowance)
    }
