"""One case of the marker study: what is drawn, how it is rendered, what the instrument says."""

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
    from synthetic_dicom.course import Course
    from synthetic_dicom.object_picture import ObjectPicture

FloatArray = NDArray[np.float64]
SIZES_PX = (25.0, 40.0, 60.0)
BLURS_PX = (0.8, 1.5, 2.5)
CONTRASTS = (3.0, 6.0, 12.0, 30.0)
CELLS = tuple(product(SIZES_PX, BLURS_PX, CONTRASTS))
MARGIN_PX = 30.0
TOLERANCE_REL = 0.01
TRACE_SD_PX = 1.2

DRAWN = {
    "cells": "spacing 25, 40, 60 px (± 7 %); blur 0.8, 1.5, 2.5 px; contrast of a band to noise 3, "
    "6, 12, 30; in turn",
    "spacing": "stated as 5.0 to 20.0 mm ± 1 %, the mean true within that, flat; each band off its "
    "place so that every gap is off by up to 1 % more, flat",
    "bands": "3 to 7; wire 4 to 8 px, bands 1 to 3 px more and 4 to 8 px long",
    "tilt": "half-range stated as 5, 10 or 20°, true tilt flat within it",
    "course": "any direction; turns by up to ± 20° along the trace, flat",
    "trace": "points off the axis by 1.2 px (standard deviation, Gaussian)",
    "veil": "scatter 0 to 0.4 of the background, flat; background slopes up to ± 0.1 % per px",
    **DRAWN_ARMS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerCase:
    """What one case has drawn; `size_px` is the spacing of an untilted wire."""

    size_px: float
    stated_mm: float
    true_mm: float
    tilt_deg: float
    centres_px: tuple[float, ...]
    trace: FloatArray
    mismatch: str
    picture: "ObjectPicture"


def draw(case: int, rng: np.random.Generator) -> MarkerCase:
    """Draw one case; every case draws the same things in the same order."""
    cell = CELLS[case % len(CELLS)]
    size = cell[0] * float(rng.uniform(0.93, 1.07))
    stated = round(float(rng.uniform(5.0, 20.0)), 1)
    tilt = float(rng.choice([5.0, 10.0, 20.0]))
    seen = size * math.cos(math.radians(float(rng.uniform(-tilt, tilt))))
    count = int(rng.integers(3, 8))
    gaps = seen * (1.0 + TOLERANCE_REL * rng.uniform(-1.0, 1.0, count - 1))
    ahead = 0.45 * size
    centres = 2 * MARGIN_PX + ahead + np.concatenate([[0.0], np.cumsum(gaps)])
    length = float(centres[-1]) - 2 * MARGIN_PX + ahead
    course, way, shape = _placed(length, rng)
    trace = way + rng.normal(0.0, TRACE_SD_PX, way.shape)
    picture, mismatch = _picture(course, centres, shape, cell, rng), mismatch_of(case, len(CELLS))
    return MarkerCase(
        size_px=size,
        stated_mm=stated,
        true_mm=stated * (1.0 + TOLERANCE_REL * float(rng.uniform(-1.0, 1.0))),
        tilt_deg=tilt,
        centres_px=tuple(float(value) for value in centres),
        trace=trace,
        mismatch=mismatch,
        picture=replace(picture, recording=broken(picture.recording, mismatch)),
    )


def _placed(
    length: float, rng: np.random.Generator
) -> "tuple[Course, FloatArray, tuple[int, int]]":
    """Return a course that leaves the picture, its clicked places, and the picture's shape."""
    from synthetic_dicom.course import Course

    heading = float(rng.uniform(0.0, math.pi))
    turn = math.radians(float(rng.uniform(1.0, 20.0)) * float(rng.choice([-1.0, 1.0])))
    bend = turn / length
    reach = math.sin((0.5 * length + 2 * MARGIN_PX) * abs(bend)) / abs(bend)
    half = reach * np.array([math.cos(heading), math.sin(heading)])

    def between(middle: FloatArray) -> Course:
        start, end = middle - half, middle + half
        return Course(
            start_mm=(float(start[0]), float(start[1])),
            end_mm=(float(end[0]), float(end[1])),
            height_mm=0.0,
            bend_per_mm=bend,
        )

    steps = 2 * MARGIN_PX + length * np.linspace(0.0, 1.0, 5)
    way = np.array([between(np.zeros(2)).point_mm(float(step))[1::-1] for step in steps])
    low = np.floor(way.min(axis=0)) - MARGIN_PX
    size = np.ceil(way.max(axis=0)) + MARGIN_PX - low + 1
    return between(-low[::-1]), way - low, (int(size[0]), int(size[1]))


def _picture(
    course: "Course",
    centres: FloatArray,
    shape: tuple[int, int],
    cell: tuple[float, float, float],
    rng: np.random.Generator,
) -> "ObjectPicture":
    from synthetic_dicom.object_picture import BandedWire, ObjectPicture, Recording

    shaft, veil = float(rng.uniform(4.0, 8.0)), float(rng.uniform(0.0, 0.4))
    depth = float(rng.uniform(0.8, 2.0))
    band, long = shaft + float(rng.uniform(1.0, 3.0)), float(rng.uniform(4.0, 8.0))
    slope = rng.uniform(-0.001, 0.001, 2)
    wire = BandedWire(
        course=course,
        shaft_px=shaft,
        band_px=band,
        band_length_px=long,
        centres_px=tuple(float(value) for value in centres),
        shaft_per_px=0.25 / shaft,
        band_per_px=depth / (band - shaft),
    )
    # how deep a band shows beyond its wire: along the axis, as far as the blur leaves it
    shown = math.erf(long / (2.0 * math.sqrt(2.0) * cell[1]))
    contrast = (1.0 - veil) * math.exp(-0.25) * (1.0 - math.exp(-depth)) * shown
    return ObjectPicture(
        rows=shape[0],
        columns=shape[1],
        shapes=(wire,),
        recording=Recording(
            blur_px=cell[1],
            veil=veil,
            noise=contrast / cell[2],
            slope=(float(slope[0]), float(slope[1])),
        ),
    )


def run_marker_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and scale one case; give the spacing in pixels and the scale as trials."""
    drawn = draw(case, rng)
    request: Fields = {
        "kind": "markers",
        "spacing_mm": drawn.stated_mm,
        "tolerance_mm": TOLERANCE_REL * drawn.stated_mm,
        "bands": len(drawn.centres_px),
        "tilt_deg": drawn.tilt_deg,
        "depth_offset_mm": 0,
        "frame": 0,
        "path_px": [[round(float(row), 2), round(float(column), 2)] for row, column in drawn.trace],
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
