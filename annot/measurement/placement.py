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
