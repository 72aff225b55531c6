"""The scenes of the flat phantoms: square to the beam, an even absorber behind them."""

from __future__ import annotations

from dataclasses import replace

from synthetic_dicom.phantoms import BeadGrid, Lattice, StepPlate, WireGrid
from synthetic_dicom.xray_image import XrayScene
from synthetic_dicom.xray_view import XraySetup

SQUARE_VIEW = XraySetup(primary_deg=0.0, secondary_deg=0.0)


def wire_grid() -> XrayScene:
    """Return 7 by 7 wires 10 mm apart, 60 mm above the isocentre, turned by 7 degrees."""
    lattice = Lattice(centre_mm=(2.0, -3.0, 60.0), size=(7, 7), turn_deg=7.0)
    grid = WireGrid(id="grid", lattice=lattice)
    return XrayScene(setup=SQUARE_VIEW, objects=(grid,), phantom=True)


def bead_grid() -> XrayScene:
    """Return 8 by 7 beads with two missing, seen with pixels 3 % wider than high."""
    lattice = Lattice(centre_mm=(-3.0, 1.0, 0.0), size=(8, 7), turn_deg=-4.0)
    grid = BeadGrid(id="grid", lattice=lattice, missing=((2, 3), (6, 1)))
    setup = replace(SQUARE_VIEW, spacing_mm=(0.23, 0.2369))
    return XrayScene(setup=setup, objects=(grid,), phantom=True)


def step_plate() -> XrayScene:
    """Return strips with twelve edges 5 mm apart, turned by 20 degrees."""
    lattice = Lattice(centre_mm=(1.0, 2.0, 10.0), spacing_mm=5.0, size=(12, 2), turn_deg=20.0)
    plate = StepPlate(id="step", lattice=lattice)
    return XrayScene(setup=SQUARE_VIEW, objects=(plate,), phantom=True)
