"""One case of the catheter study: what is drawn, how it is rendered, what the instrument says."""

import math
from itertools import product

import numpy as np

from annot.calibration.allowances import FILLING_REL, REFERENCE_OFF_ISOCENTRE_MM
from annot.tasks.rehearse.scale_answer import answers
from annot.tasks.rehearse.shaft_bound import KnownBefore, shaft_bound_rel
from annot.tasks.rehearse.shaft_picture import TOLERANCE_MM, ShaftCase, shown_of
from annot.tasks.rehearse.tally import BOUND
from annot.tasks.rehearse.trial import Trial

SIZES_PX = (6.0, 9.0, 13.0, 20.0)
BLURS = (0.05, 0.10, 0.20)  # standard deviation of the blur over the diameter
CONTRASTS = (3.0, 6.0, 12.0, 30.0)  # peak depth of the shadow over a background pixel's noise
CELLS = tuple(product(SIZES_PX, BLURS, CONTRASTS))
AS_MODELLED = "as modelled"
MISMATCHES = ("glare", "veil", "wall", "logarithm", "noise")
EVERY = 4  # every fourth round through the cells goes to the mismatches, in turn
RATIOS = (0.55, 0.90)
DEPTH_OFFSETS_MM = (0.0, 10.0, 20.0)

DRAWN = {
    "cells": "diameter 6, 9, 13, 20 px (± 7 %); blur 0.05, 0.10, 0.20 diameters; contrast to "
    "noise 3, 6, 12, 30; in turn",
    "size": "stated as 1.60 to 2.80 mm ± 0.02 mm, true within that, both flat",
    "lumen": "inner over outer diameter flat in 0.55 to 0.90",
    "wall": "optical depth of a path of one diameter log-flat in 0.3 to 2.0",
    "filling": "empty 1/2, contrast 1/2 (log-flat in 0.3 to 2.5); the reader knows which in 4/5",
    "other diameter": "stated in 1/2 of the cases, true within ± 0.02 mm, flat",
    "filling and material": "make the shadow up to ± 1 % wider than the shaft, flat; never stated",
    "depth": "the reader states ± 0, 10 or 20 mm, each in 1/3; the anatomy lies within that, flat; "
    "the shaft within ± 100 mm of the isocentre, flat",
    "course": "any direction; turns by up to ± 20° along the trace, flat",
    "trace": "8 to 14 diameters and at least 45 px long, points off the axis by 1.2 px "
    "(standard deviation, Gaussian)",
    "overlap": "none 1/2; a crossing wire 1/4 (0.15 to 0.5 diameters, at 35 to 90°); a soft "
    "edge behind 1/4 (depth 0.05 to 0.25, width 3 to 15 px)",
    "veil": "scatter 0 to 0.4 of the background, flat; background slopes up to ± 0.1 % per px",
    "glare (mismatch)": "a fifth of the blur is three times as wide",
    "veil (mismatch)": "scatter 0.5 to 0.7 of the background",
    "wall (mismatch)": "the stated inner diameter is off by 3 to 6 % of the outer one, either way",
    "logarithm (mismatch)": "logarithms are stored, while the header says intensities",
    "noise (mismatch)": "noise of neighbouring pixels goes together (blur of 0.7 px)",
}


def mismatch_of(case: int) -> str:
    """Return which mismatch a case is given to, empty for none."""
    turn = case // len(CELLS)
    return MISMATCHES[turn // EVERY % len(MISMATCHES)] if turn % EVERY == EVERY - 1 else ""


def draw(case: int, rng: np.random.Generator) -> ShaftCase:
    """Draw one case; every case draws the same things in the same order."""
    cell = CELLS[case % len(CELLS)]
    size = cell[0] * float(rng.uniform(0.93, 1.07))
    stated = round(float(rng.uniform(1.6, 2.8)), 2)
    filled = bool(rng.random() < 0.5)
    lumen = float(np.exp(rng.uniform(np.log(0.3), np.log(2.5))))
    veil = float(rng.uniform(0.0, 0.4))
    mismatch = mismatch_of(case)
    return ShaftCase(
        size_px=size,
        blur=cell[1],
        contrast=cell[2],
        mismatch=mismatch,
        stated_mm=stated,
        true_mm=stated + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM)),
        ratio=float(rng.uniform(*RATIOS)),
        wall=float(np.exp(rng.uniform(np.log(0.3), np.log(2.0)))),
        lumen=lumen if filled else 0.0,
        veil=veil / 2 + 0.5 if mismatch == "veil" else veil,
        length_px=max(45.0, float(rng.uniform(8.0, 14.0)) * size),
        heading=float(rng.uniform(0.0, math.pi)),
        turn=math.radians(float(rng.uniform(-20.0, 20.0))),
        knows_filling=bool(rng.random() < 0.8),
        knows_other=bool(rng.random() < 0.5),
        filling_effect=float(rng.uniform(-1.0, 1.0)) * FILLING_REL.value,
        depth_offset_mm=(offset := float(rng.choice(DEPTH_OFFSETS_MM))),
        off_isocentre_mm=float(rng.uniform(-1.0, 1.0)) * REFERENCE_OFF_ISOCENTRE_MM.value,
        nearer_mm=float(rng.uniform(-1.0, 1.0)) * offset,
    )


def run_shaft_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and scale one case; give the diameter in pixels and the scale as trials."""
    drawn = draw(case, rng)
    shown = shown_of(drawn, rng)
    before = KnownBefore(
        lumen_ratio=_ratio_spread(drawn),
        lumen_is_empty=drawn.knows_filling and drawn.lumen == 0.0,
    )
    bound = shaft_bound_rel(
        drawn.profile, length_px=drawn.length_px, noise=drawn.noise, before=before
    )
    labels = {
        "size": f"{CELLS[case % len(CELLS)][0]:g} px",
        "blur": f"{drawn.blur:g}",
        "contrast": f"{drawn.contrast:g}",
        "other diameter": "stated" if drawn.knows_other else "not stated",
        "filling": ("contrast" if drawn.lumen else "empty") if drawn.knows_filling else "unknown",
    }
    arm = drawn.mismatch or AS_MODELLED
    return answers(shown, case=case, arm=arm, labels=labels, beside={BOUND: bound})


def _ratio_spread(drawn: ShaftCase) -> float:
    """Return what is known of the lumen ratio before, as a standard deviation."""
    if drawn.knows_other:
        return TOLERANCE_MM / math.sqrt(3.0) / drawn.stated_mm * math.hypot(1.0, drawn.ratio)
    return (RATIOS[1] - RATIOS[0]) / math.sqrt(12.0)
