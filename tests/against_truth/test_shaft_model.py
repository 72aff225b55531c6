"""How far the tube model misses renderings almost without noise: the origin of its allowance.

The pictures are drawn at points of a fine grid and blurred by a filter, by a package that knows no
code of the fit, which computes mean chords and transfers. Both diameters and the filling are stated
and nothing lies over the shaft, so what is left is what pixels, sampling across a curved shaft and
the search itself do. With -s the figures are printed:

    python -m pytest -p no:napari tests/against_truth/test_shaft_model.py -s
"""

import sys
from dataclasses import replace
from itertools import product

import numpy as np

from annot.calibration.allowances import SHAFT_MODEL_REL
from annot.calibration.shaft_fit import ShaftFit, fit_shaft
from annot.calibration.shaft_location import Reading
from annot.geometry import PixelPoint
from annot.tasks.rehearse.shaft_case import draw
from annot.tasks.rehearse.shaft_picture import shown_of

SIZES_PX = (6.0, 7.3, 9.1, 13.4, 20.2)
BLURS = (0.05, 0.08, 0.12, 0.20)
HARDLY_ANY_NOISE = 300.0  # peak depth over a background pixel's noise
REPEATS = 2


class Clear(np.random.Generator):
    """Chance that lays nothing over the shaft: the draw that decides about it is always low."""

    def random(self, *args, **options):
        return super().random(*args, **options) if args or options else 0.0


def error_rel(size_px: float, blur: float, rng: np.random.Generator) -> float:
    drawn = replace(
        draw(int(rng.integers(48)), rng),
        size_px=size_px * float(rng.uniform(0.97, 1.03)),
        blur=blur,
        contrast=HARDLY_ANY_NOISE,
        lumen=0.0,
        veil=0.2,
        length_px=max(60.0, 8.0 * size_px),
        mismatch="",
        knows_filling=True,
    )
    shown = shown_of(drawn, Clear(np.random.PCG64(int(rng.integers(1 << 30)))))
    trace = tuple(PixelPoint(*point) for point in shown.request["axis_px"])
    found = fit_shaft(
        [Reading(frame=shown.stored, trace=trace)], filling="empty", lumen_ratio=(drawn.ratio, 2e-3)
    )
    assert isinstance(found, ShaftFit), (drawn, found)
    return found.outer_px / drawn.size_px - 1.0


def test_the_allowance_for_the_model_is_what_renderings_show():
    rng = np.random.default_rng(3)
    cells = list(product(SIZES_PX, BLURS))
    errors = np.array([[error_rel(*cell, rng) for _ in range(REPEATS)] for cell in cells])
    rms, largest = np.sqrt(np.mean(errors**2)), np.abs(errors).max()
    sys.__stdout__.write(
        f"\n  {errors.size} shafts: bias {100 * errors.mean():+.2f} %, root mean square "
        f"{100 * rms:.2f} %, largest {100 * largest:.2f} %\n"
    )
    u = SHAFT_MODEL_REL.value / np.sqrt(3.0)
    assert 0.4 * u < rms < u
    # where the blur spans half a pixel and more, all lie within it
    sharp = np.array([size * blur < 0.5 for size, blur in cells])
    assert np.abs(errors[~sharp]).max() < SHAFT_MODEL_REL.value
