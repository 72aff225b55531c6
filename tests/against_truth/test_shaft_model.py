"""How far the tube model misses renderings without noise: the origin of its allowance.

The pictures are drawn on a fine grid by another package, by points and a Gaussian filter; the fit
computes chords' means and transfers. Both diameters and the filling are stated, so that what is
left is what pixels, sampling across a curved shaft and the search itself do.

    python -m pytest -p no:napari tests/against_truth/test_shaft_model.py -s
"""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from annot.calibration.allowances import SHAFT_MODEL_REL
from annot.calibration.shaft_fit import ShaftFit, fit_shaft
from annot.calibration.shaft_location import Reading
from annot.geometry import PixelPoint
from annot.tasks.rehearse.shaft_case import draw
from annot.tasks.rehearse.shaft_picture import shown_of

SIZES_PX = (6.0, 7.3, 9.1, 13.4, 20.2)
BLURS = (0.05, 0.08, 0.12, 0.20)
SEED = 3


def _error_rel(size_px: float, blur: float, rng: np.random.Generator) -> float:
    drawn = replace(
        draw(int(rng.integers(48)), rng),
        size_px=size_px * float(rng.uniform(0.97, 1.03)),
        blur=blur,
        contrast=300.0,
        lumen=0.0,
        veil=0.2,
        length_px=max(45.0, 8.0 * size_px),
        mismatch="",
        knows_filling=True,
    )
    shown = shown_of(drawn, _Undisturbed(rng.integers(1 << 30)))
    fit = fit_shaft(
        [
            Reading(
                frame=shown.stored,
                trace=tuple(PixelPoint(*point) for point in shown.request["axis_px"]),
            )
        ],
        filling="empty",
        lumen_ratio=(drawn.ratio, 0.002),
    )
    if not isinstance(fit, ShaftFit):
        print(drawn, fit)
        return float("nan")
    return fit.outer_px / drawn.size_px - 1.0


class _Undisturbed(np.random.Generator):
    """Chance that lays nothing over the shaft."""

    def __init__(self, seed: int) -> None:
        super().__init__(np.random.PCG64(seed))

    def random(self, *args, **kwargs):
        return 0.0 if not args and not kwargs else super().random(*args, **kwargs)


def sweep(repeats: int) -> np.ndarray:
    rng = np.random.default_rng(SEED)
    return np.array(
        [_error_rel(size, blur, rng) for size, blur in product(SIZES_PX, BLURS) for _ in range(repeats)]
    )


if __name__ == "__main__":
    import sys

    e = sweep(int(sys.argv[1]))
    for (s, b), own in zip(product(SIZES_PX, BLURS), e.reshape(len(SIZES_PX) * len(BLURS), -1)):
        print(s, b, np.round(100 * own, 2))
    print(len(e), "rms", 100 * np.sqrt(np.nanmean(e**2)), "mean", 100 * np.nanmean(e), "max", 100 * np.nanmax(np.abs(e)))
