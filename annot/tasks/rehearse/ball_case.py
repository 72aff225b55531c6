"""One case of the sphere study: what is drawn, how it is rendered, what the instrument says."""

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annot.tasks.rehearse.scale_answer import Fields, Shown, answers
from annot.tasks.rehearse.scale_arms import DRAWN_ARMS, broken, mismatch_of
from annot.tasks.rehearse.shaft_case import AS_MODELLED
from annot.tasks.rehearse.tally import BOUND
from annot.tasks.rehearse.trial import Trial

if TYPE_CHECKING:
    from synthetic_dicom.object_picture import BallShape, ObjectPicture

FloatArray = NDArray[np.float64]
SIZES_PX = (14.0, 26.0, 50.0)
BLURS = (0.03, 0.06, 0.12)
CONTRASTS = (3.0, 6.0, 12.0, 30.0)
CELLS = tuple(product(SIZES_PX, BLURS, CONTRASTS))
TOLERANCE_MM = 0.02
SHARE_SPREAD = 0.20  # what is known before of the beam's unscattered share

DRAWN = {
    "cells": "diameter 14, 26, 50 px (± 7 %); blur 0.03, 0.06, 0.12 diameters; contrast to noise "
    "3, 6, 12, 30; in turn",
    "size": "stated as 5.0 to 12.0 mm ± 0.02 mm, true within that, both flat",
    "depth": "optical depth along the diameter log-flat in 0.3 to 3.0",
    "guess": "centre off by 4 % of the diameter (standard deviation, Gaussian), radius 0.9 to 1.1 "
    "of the true one, flat",
    "overlap": "none 3/4; a soft edge behind 1/4 (depth 0.05 to 0.15, width 6 to 15 px)",
    "veil": "scatter 0 to 0.4 of the background, flat; background slopes up to ± 0.1 % per px",
    **DRAWN_ARMS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BallCase:
    """What one case has drawn; `picture` has no noise yet."""

    size_px: float
    contrast: float
    mismatch: str
    stated_mm: float
    true_mm: float
    depth: float
    centre_px: tuple[float, float]
    picture: "ObjectPicture"


def draw(case: int, rng: np.random.Generator) -> BallCase:
    """Draw one case; every case draws the same things in the same order."""
    cell = CELLS[case % len(CELLS)]
    size = cell[0] * float(rng.uniform(0.93, 1.07))
    stated = round(float(rng.uniform(5.0, 12.0)), 1)
    depth = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0))))
    ball, mismatch = _ball(size, depth, rng), mismatch_of(case, len(CELLS))
    return BallCase(
        size_px=size,
        contrast=cell[2],
        mismatch=mismatch,
        stated_mm=stated,
        true_mm=stated + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM)),
        depth=depth,
        centre_px=ball.centre_px,
        picture=_picture(ball, cell[1] * size, mismatch, rng),
    )


def _side_px(size_px: float) -> int:
    return int(np.ceil(2.3 * size_px + 24.0))


def _ball(size: float, depth: float, rng: np.random.Generator) -> "BallShape":
    from synthetic_dicom.object_picture import BallShape

    centre = rng.uniform(-0.5, 0.5, 2) + 0.5 * _side_px(size)
    return BallShape(
        centre_px=(float(centre[0]), float(centre[1])), diameter_px=size, per_px=depth / size
    )


def _picture(
    ball: "BallShape", blur: float, mismatch: str, rng: np.random.Generator
) -> "ObjectPicture":
    from synthetic_dicom.object_picture import ObjectPicture, Recording, SoftEdge

    veil = float(rng.uniform(0.0, 0.4))
    slope = rng.uniform(-0.001, 0.001, 2)
    edge = SoftEdge(
        through_px=ball.centre_px,
        angle_deg=float(rng.uniform(0.0, 360.0)),
        width_px=float(rng.uniform(6.0, 15.0)),
        depth=float(rng.uniform(0.05, 0.15)),
    )
    overlap = (edge,) if rng.random() < 0.25 else ()
    side = _side_px(ball.diameter_px)
    return ObjectPicture(
        rows=side,
        columns=side,
        shapes=(ball, *overlap),
        recording=broken(
            Recording(blur_px=blur, veil=veil, slope=(float(slope[0]), float(slope[1]))), mismatch
        ),
    )


def run_ball_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and scale one case; give the diameter in pixels and the scale as trials."""
    drawn = draw(case, rng)
    noise = (1.0 - float(np.min(_bare(drawn).intensity()))) / drawn.contrast
    noise *= 1.0 - drawn.picture.recording.veil
    picture = replace(drawn.picture, recording=replace(drawn.picture.recording, noise=noise))
    centre = np.array(drawn.centre_px) + rng.normal(0.0, 0.04 * drawn.size_px, 2)
    request: Fields = {
        "kind": "sphere",
        "diameter_mm": drawn.stated_mm,
        "tolerance_mm": TOLERANCE_MM,
        "depth_offset_mm": 0,
        "frame": 0,
        "centre_px": [round(float(value), 2) for value in centre],
        "radius_px": round(0.5 * drawn.size_px * float(rng.uniform(0.9, 1.1)), 2),
    }
    shown = Shown(
        stored=picture.stored(rng),
        request=request,
        size_px=drawn.size_px,
        mm_per_px=drawn.true_mm / drawn.size_px,
    )
    cell = CELLS[case % len(CELLS)]
    labels = {"size": f"{cell[0]:g} px", "blur": f"{cell[1]:g}", "contrast": f"{cell[2]:g}"}
    return answers(
        shown,
        case=case,
        arm=drawn.mismatch or AS_MODELLED,
        labels=labels,
        beside={BOUND: ball_bound_rel(drawn, noise=noise)},
    )


def _bare(drawn: BallCase, **change: float) -> "ObjectPicture":
    """Return the ball alone on an even background without scatter, something changed or not."""
    from synthetic_dicom.object_picture import BallShape, Recording

    size = drawn.size_px * (1.0 + change.get("size", 0.0))
    moved = BallShape(
        centre_px=(
            drawn.centre_px[0] + change.get("row", 0.0),
            drawn.centre_px[1] + change.get("column", 0.0),
        ),
        diameter_px=size,
        per_px=drawn.depth * (1.0 + change.get("depth", 0.0)) / size,
    )
    blur = drawn.picture.recording.blur_px * (1.0 + change.get("blur", 0.0))
    # one grid for all changes: a finer one would show as a change of its own
    fine = drawn.picture.fineness
    return replace(drawn.picture, shapes=(moved,), recording=Recording(blur_px=blur), fine=fine)


def ball_bound_rel(drawn: BallCase, *, noise: float) -> float:
    """Return Cramér and Rao's bound on the relative standard deviation of the diameter.

    From the generator's own pictures. Unknown together: diameter, place, blur, optical depth,
    depth of the shadow (the unscattered share, known before to 0.20), and a sloping background.
    """
    seen = _bare(drawn).intensity()
    share = 1.0 - drawn.picture.recording.veil
    step = 1e-2

    def by(name: str) -> FloatArray:
        up, down = (_bare(drawn, **{name: sign * step}).intensity() for sign in (1.0, -1.0))
        return share * (up - down) / (2.0 * step)

    row, column = np.mgrid[-1.0 : 1.0 : seen.shape[0] * 1j, -1.0 : 1.0 : seen.shape[1] * 1j]
    slopes = [by(name) for name in ("size", "row", "column", "blur", "depth")]
    slopes += [seen - 1.0, np.ones_like(seen), row, column]
    inside = np.hypot(row, column) <= (1.8 * drawn.size_px / 2 + 4.0) / (0.5 * seen.shape[0])
    stacked = np.stack([one[inside] for one in slopes])
    variance = noise**2 * (1.0 - share * (1.0 - seen[inside]))
    information = (stacked / variance) @ stacked.T
    information[5, 5] += 1.0 / SHARE_SPREAD**2
    size = np.sqrt(np.diag(information))
    covariance = np.linalg.pinv(information / np.outer(size, size), rcond=1e-13)
    return float(np.sqrt(covariance[0, 0]) / size[0])
