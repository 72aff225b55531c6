"""Suggest the frame of an X-ray loop that contrast fills best."""

from collections.abc import Callable, Iterator

import numpy as np

from annot.calibration.intensity import StoredPixels, upright_frames
from annot.errors import AnnotError
from annot.loops import Loop
from annot.measurement.filling_curve import FillingCurve, FloatArray, block_means, filling_curve

__all__ = ["FillingCurve", "contrast_over_loop"]


def contrast_over_loop(
    loop: Loop, *, on_frame: Callable[[int], object] = lambda _: None
) -> FillingCurve:
    """Return how contrast comes and goes in an X-ray loop, with the best-filled frame.

    Parameters
    ----------
    loop : Loop
        Every frame is decoded once.
    on_frame : callable
        Called with each frame's number before it is looked at.

    Raises
    ------
    AnnotError
        If the loop is no X-ray loop in grey, or a frame cannot be decoded.
    """
    if loop.header.xray is None or loop.header.colour:
        raise AnnotError("Contrast is looked for in X-ray loops in grey only.")
    return filling_curve(_darkness(loop, on_frame))


def _darkness(loop: Loop, on_frame: Callable[[int], object]) -> Iterator[FloatArray]:
    """Give minus the logarithm of intensity in every block, frame by frame.

    Values of no stated relation to intensity count as proportional to it: for where the darkest
    moment lies that makes no difference.
    """
    header, view = loop.header, loop.header.xray
    top = float(2**header.bits_stored - 1)
    stored = StoredPixels(sign=(view.intensity_sign if view else None) or 1)
    logarithmic = view is not None and view.intensity_relationship == "LOG"
    for number in range(loop.frames):
        on_frame(number)
        blocks = {number: block_means(loop.frame(number))}
        values = upright_frames(blocks, stored, full_scale=top)[number].astype(float)
        if logarithmic:
            yield -values * np.log1p(top) / top
        else:
            yield -np.log(np.maximum(values, 0.5))
