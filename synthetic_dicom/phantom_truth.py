"""What is true of a flat phantom: its nodes or edges in the picture."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.phantoms import BeadGrid, StepPlate, WireGrid
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.truth import ObjectTruth, PointPx
from synthetic_dicom.xray_view import XraySetup


def point(values: FloatArray) -> tuple[float, float]:
    """Return two numbers as plain floats."""
    return float(values[0]), float(values[1])


def phantom_truth(
    setup: XraySetup, item: WireGrid | BeadGrid | StepPlate, shift_px: tuple[PointPx, ...]
) -> ObjectTruth:
    """Return a phantom's size, scale and places."""
    nodes = setup.project(item.lattice.nodes_mm())
    scale = setup.mm_per_px(item.height_mm())
    plate = isinstance(item, StepPlate)
    edges = nodes.mean(axis=1)
    return ObjectTruth(
        id=item.id,
        kind="step" if plate else "grid",
        size_mm=item.lattice.spacing_mm,
        surface=None,
        inner_mm=None,
        filling=None,
        stripe=False,
        depth_h_mm=item.height_mm(),
        mm_per_px=scale,
        size_px=float(item.lattice.spacing_mm / np.sqrt(scale[0] * scale[1])),
        node_px=None if plate else tuple(tuple(point(one) for one in row) for row in nodes),
        edge_px=tuple(point(one) for one in edges) if plate else None,
        turn_deg=item.lattice.turn_deg,
        missing=item.missing,
        shift_px=shift_px,
    )
