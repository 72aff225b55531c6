"""The edge of a contrast-filled hollow in an X-ray profile: where its shadow begins.

The ray's path through a round hollow grows with the root of the distance from its edge, so the
shadow has a steep foot and no plateau: half of its height is not its edge.
"""

import numpy as np
from numpy.typing import NDArray

from annot.measurement.edge_fit import Edge, NoEdge, Profile, edge_of_fit

FloatArray = NDArray[np.float64]
_CELL = np.array([-0.4, -0.2, 0.0, 0.2, 0.4])
_MARGIN_PX = 6.0
BLUR_PX = (0.3, 4.0)


def xray_edge(profile: Profile, *, half_width_px: float) -> Edge | NoEdge:
    """Fit a round hollow's shadow on a sloping background, blurred.

    Model: I(x) = (b0 + b1·x)·exp(−m·c(d)) ⊗ Gaussian, with d the distance inside the edge and
    c = √(d(2h − d))/h the chord of a circle of half-width h, 1 at its middle.

    Parameters
    ----------
    half_width_px : float
        Half of the hollow's width, as drawn.
    """
    along, grey = profile.along_px, profile.grey
    outer = along > 5.0
    base = float(np.median(grey[outer])) if outer.any() else float(grey[-1])
    if base <= 0:
        return NoEdge(reason="the picture is black beside the end")
    step = float(along[1] - along[0])
    model = _Shadow(along=along, step=step, half_width_px=half_width_px)
    depth = 1.0 - float(grey.min()) / base
    if depth <= 0:
        return NoEdge(reason="the picture is not darker inside the end than outside: no contrast")
    start_m = max(0.05, -np.log(max(1.0 - depth, 0.05)))
    return edge_of_fit(
        model,
        grey,
        [[place, base, 0.0, start_m, 0.0] for place in (-4.0, 0.0, 4.0)],
        bounds=(
            [float(along[0]), 0.0, -np.inf, 0.01, float(np.log(BLUR_PX[0]))],
            [float(along[-1]), np.inf, np.inf, 5.0, float(np.log(BLUR_PX[1]))],
        ),
        height=model.height,
    )


class _Shadow:
    """Grey values of (edge, base, slope, strength, log of blur)."""

    def __init__(self, *, along: FloatArray, step: float, half_width_px: float) -> None:
        self._count, self._step, self._half = along.size, step, half_width_px
        margin = round(_MARGIN_PX / step)
        self._skip = margin
        self._wide = along[0] + step * np.arange(-margin, along.size + margin)

    def __call__(self, parameters: FloatArray) -> FloatArray:
        from scipy.ndimage import gaussian_filter1d

        edge, base, slope, strength, log_blur = parameters
        chord = np.mean([self._chord(edge - self._wide - part * self._step) for part in _CELL], 0)
        seen = (base + slope * self._wide) * np.exp(-strength * chord)
        blurred = gaussian_filter1d(seen, np.exp(log_blur) / self._step, mode="nearest")
        return np.asarray(blurred[self._skip : self._skip + self._count])

    def height(self, parameters: FloatArray) -> float:
        """Return how far the grey value falls within 3 px of the edge."""
        _, base, _, strength, _ = parameters
        chord = float(self._chord(np.array([3.0]))[0])
        return float(base * (1.0 - np.exp(-strength * chord)))

    def _chord(self, inside_px: FloatArray) -> FloatArray:
        depth = np.clip(inside_px, 0.0, 2.0 * self._half)
        return np.asarray(np.sqrt(depth * (2.0 * self._half - depth)) / self._half)
