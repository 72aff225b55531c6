"""Flat phantoms parallel to the detector: a grid of wires, a grid of beads, a plate of strips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.xray_view import XraySetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Lattice:
    """Where the nodes of a flat square grid lie.

    Attributes
    ----------
    centre_mm : tuple of float
        (x, y, h) of the grid's middle in view coordinates.
    spacing_mm : float
        Between neighbouring nodes.
    size : (int, int)
        Nodes along the first and the second direction.
    turn_deg : float
        Turn of the first direction from the rows downwards, towards the columns.
    """

    centre_mm: tuple[float, float, float]
    spacing_mm: float = 10.0
    size: tuple[int, int] = (8, 8)
    turn_deg: float = 0.0

    def axes(self) -> FloatArray:
        """Return the first and second direction in (x, y), shape (2, 2)."""
        turn = np.deg2rad(self.turn_deg)
        return np.array([[np.sin(turn), np.cos(turn)], [np.cos(turn), -np.sin(turn)]])

    def nodes_mm(self) -> FloatArray:
        """Return all nodes (x, y, h), shape (size[0], size[1], 3)."""
        one, two = (np.arange(n) - 0.5 * (n - 1) for n in self.size)
        step = np.stack(np.meshgrid(one, two, indexing="ij"), axis=-1)
        flat = np.array(self.centre_mm[:2]) + self.spacing_mm * step @ self.axes()
        return np.concatenate([flat, np.full((*self.size, 1), self.centre_mm[2])], axis=-1)

    def steps(self, points_mm: FloatArray) -> FloatArray:
        """Return places (n, 2) at the grid's height in spacings from the first node, (n, 2)."""
        away = (points_mm - np.array(self.centre_mm[:2])) @ self.axes().T
        return np.asarray(away / self.spacing_mm + 0.5 * (np.array(self.size) - 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class BeadGrid:
    """Metal beads on a thin sheet; `missing` nodes have none."""

    id: str
    lattice: Lattice
    bead_mm: float = 2.0
    bead_per_mm: float = 0.9
    missing: tuple[tuple[int, int], ...] = ()

    def height_mm(self) -> float:
        """Return the height above the isocentre, towards the source."""
        return self.lattice.centre_mm[2]

    def reach_mm(self) -> float:
        """Return the largest distance from a node that attenuates."""
        return 0.51 * self.bead_mm

    def outline_mm(self) -> FloatArray:
        """Return all nodes, shape (n, 3), in view coordinates."""
        return self.lattice.nodes_mm().reshape(-1, 3)

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return how far points (n, 2) at the grid's height are from the nearest node."""
        step = self.lattice.steps(points_mm)
        nearest = np.clip(np.round(step), 0, np.array(self.lattice.size) - 1)
        return np.asarray(self.lattice.spacing_mm * np.hypot(*(step - nearest).T))

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the exact ray sums at (row, column) pixels of shape (2, n); beads lie apart."""
        plane = setup.at_height(pixels.T, self.height_mm()) - shift_mm
        last = np.array(self.lattice.size) - 1
        nearest = np.clip(np.round(self.lattice.steps(plane)), 0, last).astype(int)
        gone = np.zeros(self.lattice.size, dtype=bool)
        for node in self.missing:
            gone[node] = True
        there = ~gone[nearest[:, 0], nearest[:, 1]]
        middle = self.lattice.nodes_mm()[nearest[:, 0], nearest[:, 1]]
        away = (middle + np.append(shift_mm, 0.0) - setup.source_mm()).T
        along = (away * setup.rays(pixels[0], pixels[1])).sum(axis=0)
        gap = (away**2).sum(axis=0) - along**2
        chord = 2.0 * np.sqrt(np.maximum(0.25 * self.bead_mm**2 - gap, 0.0))
        return np.where(there, self.bead_per_mm * chord, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WireGrid:
    """Round wires through all rows and columns of nodes, half a cell beyond the outermost."""

    id: str
    lattice: Lattice
    wire_mm: float = 0.8
    wire_per_mm: float = 0.9

    @property
    def missing(self) -> tuple[tuple[int, int], ...]:
        """Nodes that are not there: none."""
        return ()

    def height_mm(self) -> float:
        """Return the height above the isocentre, towards the source."""
        return self.lattice.centre_mm[2]

    def reach_mm(self) -> float:
        """Return the largest distance from a wire's axis that attenuates."""
        return 0.51 * self.wire_mm

    def outline_mm(self) -> FloatArray:
        """Return all nodes and the wires' ends, shape (n, 3), in view coordinates."""
        nodes = self.lattice.nodes_mm()
        first, second = (nodes[1, 0] - nodes[0, 0]) / 2, (nodes[0, 1] - nodes[0, 0]) / 2
        return np.concatenate(
            [(nodes + shift).reshape(-1, 3) for shift in (first, -first, second, -second)]
        )

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return a bound on how far points (n, 2) at the grid's height are from a wire."""
        step = self.lattice.steps(points_mm)
        last = np.array(self.lattice.size) - 1
        nearest = np.abs(step - np.clip(np.round(step), 0, last)).min(axis=1)
        over = np.maximum(np.maximum(-0.5 - step, step - last - 0.5), 0.0).max(axis=1)
        return np.asarray(self.lattice.spacing_mm * np.maximum(nearest, over))

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the exact ray sums at (row, column) pixels of shape (2, n)."""
        rays = setup.rays(pixels[0], pixels[1])
        plane = setup.at_height(pixels.T, self.height_mm()) - shift_mm
        step = self.lattice.steps(plane)
        last = np.array(self.lattice.size) - 1
        inside = np.all((step >= -0.5) & (step <= last + 0.5), axis=1)
        total = np.zeros(len(step))
        for side in (0, 1):
            # wires that run along the other direction stand at whole steps of this one
            nearest = np.clip(np.round(step[:, side]), 0, last[side])
            beside = self.lattice.spacing_mm * (step[:, side] - nearest)
            across = self.lattice.axes()[side] @ rays[:2]
            flat = across**2 + rays[2] ** 2
            gap = (beside * rays[2]) ** 2 / flat
            total += 2.0 * np.sqrt(np.maximum(0.25 * self.wire_mm**2 - gap, 0.0) / flat)
        return np.where(inside, self.wire_per_mm * total, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPlate:
    """Flat metal strips, as wide as the gaps between them: edges at one spacing.

    Attributes
    ----------
    lattice : Lattice
        Of size (edges, 2): edges at whole steps of the first direction, strips between the even
        ones and the next, the whole as wide as one spacing of the second direction times `width`.
    """

    id: str
    lattice: Lattice
    width: float = 3.0
    depth: float = 0.5

    @property
    def missing(self) -> tuple[tuple[int, int], ...]:
        """Edges that are not there: none."""
        return ()

    def height_mm(self) -> float:
        """Return the height above the isocentre, towards the source."""
        return self.lattice.centre_mm[2]

    def reach_mm(self) -> float:
        """Return the largest distance from the plate's outline that attenuates."""
        return 0.2

    def outline_mm(self) -> FloatArray:
        """Return the corners, shape (4, 3), in view coordinates."""
        first, second = self.lattice.axes() * self.lattice.spacing_mm
        reach = (0.5 * (self.lattice.size[0] - 1) * first, 0.5 * self.width * second)
        middle = np.array(self.lattice.centre_mm)
        return np.array(
            [
                middle + np.append(one * reach[0] + two * reach[1], 0.0)
                for one in (-1, 1)
                for two in (-1, 1)
            ]
        )

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return a bound on how far points (n, 2) at the plate's height are from it."""
        step = self.lattice.steps(points_mm) - 0.5 * (np.array(self.lattice.size) - 1)
        half = np.array([0.5 * (self.lattice.size[0] - 1), 0.5 * self.width])
        over = np.maximum(np.abs(step) - half, 0.0).max(axis=1)
        return np.asarray(self.lattice.spacing_mm * over)

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the ray sums at (row, column) pixels of shape (2, n) of strips without height."""
        plane = setup.at_height(pixels.T, self.height_mm()) - shift_mm
        step = self.lattice.steps(plane)
        beside = np.abs(step[:, 1] - 0.5 * (self.lattice.size[1] - 1)) <= 0.5 * self.width
        number = np.floor(step[:, 0]).astype(int)
        strip = (number >= 0) & (number < self.lattice.size[0] - 1) & (number % 2 == 0)
        slant = np.abs(setup.rays(pixels[0], pixels[1])[2])
        return np.where(beside & strip, self.depth / slant, 0.0)
