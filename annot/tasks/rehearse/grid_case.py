"""One case of the grid study: what is drawn, how it is rendered, what the instrument says."""

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annot.tasks.rehearse.scale_answer import Fields, Shown, answers
from annot.tasks.rehearse.scale_arms import DRAWN_ARMS, broken, mismatch_of
from annot.tasks.rehearse.shaft_case import AS_MODELLED
from annot.tasks.rehearse.trial import Trial

if TYPE_CHECKING:
    from synthetic_dicom.object_picture import Lattice, ObjectPicture

FloatArray = NDArray[np.float64]
SIZES_PX = (20.0, 32.0, 48.0)
BLURS_PX = (0.8, 1.5, 2.5)
CONTRASTS = (3.0, 6.0, 12.0, 30.0)
CELLS = tuple(product(SIZES_PX, BLURS_PX, CONTRASTS))
TOLERANCE_REL = 0.005
MARK_SD_REL = 0.05  # of the spacing

DRAWN = {
    "cells": "spacing 20, 32, 48 px (± 7 %); blur 0.8, 1.5, 2.5 px; contrast of a node to noise 3, "
    "6, 12, 30; in turn",
    "spacing": "stated as 5.0 to 15.0 mm ± 0.5 %, true within that, flat",
    "nodes": "beads or crossing wires, 4 to 7 along either way; 0.15 to 0.30 of the spacing thick; "
    "any turn; rays in parallel",
    "tilt": "half-range stated as 5 or 10°, true tilt flat within it, about any axis",
    "marks": "corners off by 5 % of the spacing (standard deviation, Gaussian)",
    "veil": "scatter 0 to 0.4 of the background, flat; background slopes up to ± 0.1 % per px",
    **DRAWN_ARMS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class GridCase:
    """What one case has drawn; `size_px` is the spacing of an untilted grid."""

    size_px: float
    stated_mm: float
    true_mm: float
    tilt_deg: float
    lattice: "Lattice"
    mismatch: str
    picture: "ObjectPicture"

    @property
    def corners_px(self) -> FloatArray:
        """Return the outermost nodes in turn around the grid, shape (4, 2)."""
        last, end = self.lattice.counts[0] - 1, self.lattice.counts[1] - 1
        turns = ((0, 0), (last, 0), (last, end), (0, end))
        return np.array([self.lattice.node_px(*one) for one in turns])


def draw(case: int, rng: np.random.Generator) -> GridCase:
    """Draw one case; every case draws the same things in the same order."""
    cell, mismatch = CELLS[case % len(CELLS)], mismatch_of(case, len(CELLS))
    size = cell[0] * float(rng.uniform(0.93, 1.07))
    stated = round(float(rng.uniform(5.0, 15.0)), 1)
    tilt = float(rng.choice([5.0, 10.0]))
    ways = size * _seen(tilt, rng)
    lattice, shape = _placed(ways, size, rng)
    picture = _picture(lattice, shape, cell, rng)
    return GridCase(
        size_px=size,
        stated_mm=stated,
        true_mm=stated * (1.0 + TOLERANCE_REL * float(rng.uniform(-1.0, 1.0))),
        tilt_deg=tilt,
        lattice=lattice,
        mismatch=mismatch,
        picture=replace(picture, recording=broken(picture.recording, mismatch)),
    )


def _seen(tilt_deg: float, rng: np.random.Generator) -> FloatArray:
    """Return both ways of a turned unit grid as seen under a tilt, one a row."""
    turn, axis = rng.uniform(0.0, 2 * math.pi, 2)
    shrink = 1.0 - math.cos(math.radians(float(rng.uniform(-tilt_deg, tilt_deg))))
    square = np.array([math.cos(axis), math.sin(axis)])
    ways = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return np.asarray(ways - shrink * np.outer(ways @ square, square))


def _placed(
    ways: FloatArray, size: float, rng: np.random.Generator
) -> "tuple[Lattice, tuple[int, int]]":
    """Return the grid with a margin around it, and the picture's shape."""
    from synthetic_dicom.object_picture import Lattice

    counts = rng.integers(4, 8, 2)
    ends = np.array([(i, j) for i in (0, counts[0] - 1) for j in (0, counts[1] - 1)]) @ ways
    margin = 1.5 * size + 6.0
    first = margin - ends.min(axis=0) + rng.uniform(0.0, 1.0, 2)
    shape = np.ceil(np.ptp(ends, axis=0) + 2 * margin + 1)
    thick = size * float(rng.uniform(0.15, 0.30))
    depth = float(rng.uniform(0.4, 1.5))
    return Lattice(
        first_px=(float(first[0]), float(first[1])),
        way_px=(float(ways[0, 0]), float(ways[0, 1])),
        other_px=(float(ways[1, 0]), float(ways[1, 1])),
        counts=(int(counts[0]), int(counts[1])),
        thick_px=thick,
        per_px=depth / thick,
        wires=bool(rng.random() < 0.5),
    ), (int(shape[0]), int(shape[1]))


def _picture(
    lattice: "Lattice",
    shape: tuple[int, int],
    cell: tuple[float, float, float],
    rng: np.random.Generator,
) -> "ObjectPicture":
    from synthetic_dicom.object_picture import ObjectPicture, Recording

    veil, slope = float(rng.uniform(0.0, 0.4)), rng.uniform(-0.001, 0.001, 2)
    bare = ObjectPicture(
        rows=shape[0], columns=shape[1], shapes=(lattice,), recording=Recording(blur_px=cell[1])
    )
    shown = (1.0 - veil) * (1.0 - float(np.min(bare.intensity())))
    recording = Recording(
        blur_px=cell[1],
        veil=veil,
        noise=shown / cell[2],
        slope=(float(slope[0]), float(slope[1])),
    )
    return replace(bare, recording=recording)


def run_grid_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and scale one case; give the spacing in pixels and the scale as trials."""
    drawn = draw(case, rng)
    marks = drawn.corners_px + rng.normal(0.0, MARK_SD_REL * drawn.size_px, (4, 2))
    request: Fields = {
        "kind": "grid",
        "spacing_mm": drawn.stated_mm,
        "tolerance_mm": TOLERANCE_REL * drawn.stated_mm,
        "tilt_deg": drawn.tilt_deg,
        "depth_offset_mm": 0,
        "frame": 0,
        "corners_px": [[round(float(row), 2), round(float(column), 2)] for row, column in marks],
    }
    shown = Shown(
        stored=drawn.picture.stored(rng),
        request=request,
        size_px=drawn.size_px,
        mm_per_px=drawn.true_mm / drawn.size_px,
    )
    cell = CELLS[case % len(CELLS)]
    labels = {"size": f"{cell[0]:g} px", "blur": f"{cell[1]:g}", "contrast": f"{cell[2]:g}"}
    return answers(shown, case=case, arm=drawn.mismatch or AS_MODELLED, labels=labels, beside={})
