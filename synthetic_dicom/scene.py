"""The moving appendage of one loop: the same truth for X-ray and ultrasound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.anatomy import Anatomy, anatomy_for
from synthetic_dicom.motion import Motion, motion_for
from synthetic_dicom.quadrics import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatingAnatomy:
    """An appendage and its motion at the times of a loop's frames."""

    anatomy: Anatomy
    motion: Motion
    times_ms: tuple[float, ...]

    def stretches(self) -> FloatArray:
        """Return the extents relative to the fullest (major, minor, neck), shape (frames, 3)."""
        pairs = zip(
            self.motion.contraction(self.times_ms), self.motion.filling(self.times_ms), strict=True
        )
        return np.array([self.anatomy.stretch(float(c), float(f)) for c, f in pairs])

    def ostium_axes_mm(self) -> FloatArray:
        """Return the ostium's full axes, shape (frames, 2)."""
        return self.stretches()[:, :2] * self.anatomy.section_axes_mm(0.0)

    def landing_zone_axes_mm(self) -> FloatArray:
        """Return the landing zone's full axes, shape (frames, 2)."""
        axes = self.anatomy.section_axes_mm(self.anatomy.landing_depth_mm)
        return self.stretches()[:, :2] * axes

    def landing_depths_mm(self) -> FloatArray:
        """Return the distance from the ostium plane to the landing zone, shape (frames,)."""
        return self.stretches()[:, 2] * self.anatomy.landing_depth_mm

    def tips_mm(self) -> FloatArray:
        """Return the appendage's end in its own frame, shape (frames, 3)."""
        return self.stretches() * self.anatomy.tip_mm()


def beating_anatomy(seed: int, times_ms: tuple[float, ...]) -> BeatingAnatomy:
    """Draw the appendage of a seed and let it beat.

    The appendage depends on the seed alone, so loops of both modalities with one seed show one
    appendage.

    Parameters
    ----------
    seed : int
        Not negative.
    times_ms : tuple of float
        Times of the frames.
    """
    shape_rng, motion_rng = (
        np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(2)
    )
    return BeatingAnatomy(
        anatomy=anatomy_for(shape_rng),
        motion=motion_for(motion_rng, duration_ms=max(times_ms) + 1.0),
        times_ms=times_ms,
    )
