"""Geometric distortion of a frame, as a header bounds it (PS3.3 C.8.19.6.4)."""

from annot.loops import XrayView
from annot.uncertainty import MeasurementResult, propagate, rectangular


def distortion_factor(
    view: XrayView | None, scale: MeasurementResult, *, key: str
) -> MeasurementResult:
    """Return a scale with the distortion that the header states, unchanged where it states none.

    Geometric Maximum Distortion (0028,9445) is a percentage that no place in the frame exceeds, so
    the scale at the anatomy lies within ± that of the scale where it was made.

    Parameters
    ----------
    view
        The view of the frame.
    scale
        mm per pixel.
    key
        Prefix of the input's key.
    """
    if view is None or not view.distortion_percent:
        return scale
    factor = rectangular(
        1.0,
        view.distortion_percent / 100,
        key=f"{key}:distortion",
        unit="1",
        component="scale",
        source=f"geometric distortion up to ± {view.distortion_percent:g} %, as the header states",
    )
    return propagate(lambda size, local: size * local, [scale, factor], unit="mm/px")
