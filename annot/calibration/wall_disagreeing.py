"""Whether the picture bears out the two diameters that somebody states of one shaft."""

import math
from dataclasses import replace

from annot.calibration.shaft_agreement import sampling_error
from annot.calibration.shaft_sections import LEAST_NOISE
from annot.calibration.tube_fit import OUTER, IndexArray, TubeFit, TubeSolution
from annot.calibration.tube_spread import any_wall, spread_of_sections

DISAGREEING = 12.0  # in squared misfit over noise: three and a half standard deviations


def wall_disagreeing(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> str:
    """Return why two diameters given cannot be this shaft's, empty when they can.

    A wall that is stated wrongly bends the diameter with it, and confidently; so the shaft is
    fitted once more with the wall left open.

    Parameters
    ----------
    fit, solution : TubeFit, TubeSolution
        With the lumen ratio held where it is stated.
    kept : array of int
        Sections that count.
    """
    open_wall = replace(fit, held=replace(fit.held, lumen_ratio=any_wall()))
    free = open_wall.solve(kept, start=solution, turns=2)
    u_rel = math.sqrt(spread_of_sections(open_wall, free, kept).covariance[OUTER, OUTER])
    stated_px, free_px = (math.exp(one.shared[OUTER]) for one in (solution, free))
    samples = len(kept) * len(fit.sections.offset_px)
    # What a sharp edge leaves between pixels is the same in every section, and either fit may take
    # it the other way round: however quiet the picture, it is no word about the wall.
    waves = 2.0 * math.sqrt(len(kept)) * sampling_error(fit, solution, kept)
    left = math.hypot(max(free.rms, LEAST_NOISE), waves)
    worse = samples * (solution.rms**2 - free.rms**2) / left**2
    if abs(free_px / stated_px - 1.0) <= u_rel or worse < DISAGREEING:
        return ""
    return (
        f"the two diameters given make the shaft {stated_px:.1f} px wide, while the picture alone "
        f"says {free_px:.1f} px: check both diameters, or leave the other one out"
    )
