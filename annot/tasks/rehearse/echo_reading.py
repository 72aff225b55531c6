"""An ultrasound plane of an invented patient, and what its reader states."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from synthetic_dicom.scene import BeatingAnatomy
    from synthetic_dicom.truth import CaliperTruth
    from synthetic_dicom.ultrasound_view import Screen

FloatArray = NDArray[np.float64]
PointPx = tuple[float, float]
PLANES_DEG = (0.0, 45.0, 90.0, 135.0)
# half-ranges of what nobody states, as the instrument's own defaults have them
SPACING_REL, SOUND_REL = 0.02, 0.02
AXIAL_MM, LATERAL_REL = 0.25, 0.015

DRAWN_ECHO = {
    "echo plane": "0, 45, 90 or 135°",
    "echo spacing": "stored 0.19 to 0.24 mm down, 0.98 to 1.02 of that across; true within ± 2 % "
    "of the stored one, both axes alike, flat",
    "echo tilt": "half-range stated as 5, 10 or 15°, true tilt flat within it; widths show long, "
    "depths short",
    "echo blur": "each end displaced along the beam by up to ± 0.25 mm, across it by up to "
    "± 0.015 of its distance from the apex and at least ± 0.25 mm, both flat",
    "echo sound": "lengths along the beam true within ± 2 % of those seen, flat; apex stated",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoCase:
    """One drawn plane: screen, anatomy, the truth and where its ends are seen.

    Attributes
    ----------
    wanted : CaliperTruth
        The true distance in the untilted plane.
    seen_px : pair of (row, column)
        Where its ends show in the tilted, blurred plane.
    tilt_deg : float
        Half-range that the reader states.
    """

    screen: "Screen"
    beating: "BeatingAnatomy"
    wanted: "CaliperTruth"
    seen_px: tuple[PointPx, PointPx]
    tilt_deg: float

    @property
    def apex_px(self) -> PointPx:
        """Return where the sector starts."""
        return self.screen.panels[0].apex_px

    def frame(self, seed: int) -> "NDArray[np.uint8]":
        """Render the untilted plane, shape (rows, columns)."""
        from synthetic_dicom.ultrasound_screen import render_screen

        return np.asarray(render_screen(self.screen, self.beating, seed=seed)[0])

    def blank(self) -> "NDArray[np.uint8]":
        """Return a black picture of the same shape, for calipers that need no pixels."""
        return np.zeros((self.screen.rows, self.screen.columns), dtype=np.uint8)


def draw_echo(beating: "BeatingAnatomy", quantity: str, rng: np.random.Generator) -> EchoCase:
    """Draw the plane in which one quantity of an appendage is to be measured."""
    from synthetic_dicom.ultrasound_layouts import one_plane
    from synthetic_dicom.ultrasound_truth import ultrasound_calipers

    screen = one_plane(float(rng.choice(PLANES_DEG)), colour=False)
    down = float(rng.uniform(0.19, 0.24))
    across = down * float(rng.uniform(0.98, 1.02))
    factor = 1.0 + SPACING_REL * float(rng.uniform(-1.0, 1.0))
    panel = replace(
        screen.panels[0],
        mm_per_px=(down * factor, across * factor),
        depth_mm=385.0 * down * factor,
        declared_delta_cm=(0.1 * across, 0.1 * down),
    )
    tilt = float(rng.choice([5.0, 10.0, 15.0]))
    shown = math.cos(math.radians(float(rng.uniform(-tilt, tilt))))
    wanted = next(one for one in ultrasound_calipers(panel, beating) if one.quantity == quantity)
    # from the apex, down and across, in mm
    size, apex = np.array(panel.mm_per_px), np.array(panel.apex_px)
    first, last = (np.array(wanted.points_px) - apex) * size
    untilted = float(np.hypot(*(last - first)))
    # a depth is as long as it is, whatever part of it the untilted plane holds
    stretch = wanted.value_mm / untilted * (shown if quantity == "depth" else 1.0 / shown)
    anchor = first if quantity == "depth" else 0.5 * (first + last)
    tilted = anchor + stretch * (np.array([first, last]) - anchor)
    ends = _blurred(_misheard(tilted, rng), rng) / size + apex
    return EchoCase(
        screen=replace(screen, panels=(panel,)),
        beating=beating,
        wanted=wanted,
        seen_px=(_pair(ends[0]), _pair(ends[1])),
        tilt_deg=tilt,
    )


def _misheard(ends_mm: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return ends whose distance along the beam is off, as by another speed of sound."""
    middle = ends_mm.mean(axis=0)
    beam = middle / np.hypot(*middle)
    factor = 1.0 / (1.0 + SOUND_REL * float(rng.uniform(-1.0, 1.0)))
    return ends_mm + (factor - 1.0) * np.outer(ends_mm @ beam, beam)


def _blurred(ends_mm: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return ends displaced along and across their own beams."""
    reach = np.hypot(ends_mm[:, 0], ends_mm[:, 1])[:, None]
    beam = ends_mm / reach
    across = np.stack([-beam[:, 1], beam[:, 0]], axis=1)
    along = AXIAL_MM * rng.uniform(-1.0, 1.0, (2, 1))
    beside = np.maximum(AXIAL_MM, LATERAL_REL * reach) * rng.uniform(-1.0, 1.0, (2, 1))
    return np.asarray(ends_mm + along * beam + beside * across)


def _pair(values: np.ndarray) -> PointPx:
    return float(values[0]), float(values[1])
