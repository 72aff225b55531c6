"""Pixels of an X-ray angiography loop: exact ray sums, Beer-Lambert, blur, scatter and quanta."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from synthetic_dicom.anatomy import OSTIUM_CENTRE_MM
from synthetic_dicom.filled_shape import FilledShape, filled_shape
from synthetic_dicom.implant import Implant
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.reference_objects import ReferenceObject
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.xray_background import chest_attenuation
from synthetic_dicom.xray_view import XraySetup

PHANTOM_ABSORBER = 0.9  # attenuation of the even block that stands in for a patient


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayExposure:
    """How rays become stored values.

    Attributes
    ----------
    blur_sigma_px : float
        Standard deviation of the Gaussian system blur, in pixels, applied to intensity.
    veil : float
        Scatter added everywhere, as a fraction of the unattenuated beam.
    quanta : float
        Mean counts per pixel of the unattenuated beam; 0 leaves the picture without noise.
    full_scale : float
        Stored value of the unattenuated beam.
    contrast_per_mm : float
        Attenuation of undiluted contrast per mm.
    """

    blur_sigma_px: float = 0.8
    veil: float = 0.10
    quanta: float = 6000.0
    full_scale: float = 5600.0
    contrast_per_mm: float = 0.085


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayScene:
    """A view, what lies in it, and the exposure; objects hold still but for the shift.

    A `phantom` has an even absorber behind its objects instead of a chest, and nothing moves.
    """

    setup: XraySetup
    objects: tuple[ReferenceObject, ...]
    exposure: XrayExposure = XrayExposure()
    phantom: bool = False
    implant: Implant | None = None

    def ostium_mm(self, shift_mm: FloatArray) -> FloatArray:
        """Return the ostium's centre (x, y, h) in view coordinates, moved by the shift (x, y)."""
        place = self.setup.axes() @ OSTIUM_CENTRE_MM
        return np.array([place[0] + shift_mm[0], place[1] + shift_mm[1], place[2]])


def object_shifts_mm(beating: BeatingAnatomy) -> FloatArray:
    """Return the displacement (x, y) of the whole heart, shape (frames, 2), zero at frame 0.

    Breathing and beating move the scene parallel to the detector only, so every depth that the
    truth states holds in all frames.
    """
    breath = beating.motion.breath(beating.times_ms)
    pull = beating.motion.contraction(beating.times_ms)
    pull = pull - pull[0]
    return np.stack([0.25 * breath - 0.35 * pull, breath + 0.25 * pull], axis=1)


def scene_shifts_mm(scene: XrayScene, beating: BeatingAnatomy) -> FloatArray:
    """Return the displacement (x, y) of what a scene shows, shape (frames, 2)."""
    shifts = object_shifts_mm(beating)
    return np.zeros_like(shifts) if scene.phantom else shifts


def opacification(times_ms: FloatArray) -> FloatArray:
    """Return the share of undiluted contrast in each frame: wash-in, plateau, wash-out.

    A loop shorter than a second shows the plateau only.
    """
    duration_ms = float(times_ms[-1] - times_ms[0])
    if duration_ms < 1000.0:
        return np.ones(len(times_ms))
    share = (times_ms - times_ms[0]) / duration_ms
    rising = 1.0 / (1.0 + np.exp(-(share - 0.06) / 0.025))
    falling = 1.0 / (1.0 + np.exp((share - 0.93) / 0.04))
    return np.asarray(rising * falling)


def render_xray(scene: XrayScene, beating: BeatingAnatomy, *, seed: int) -> NDArray[np.uint16]:
    """Render a loop, shape (frames, rows, columns), 12 bits proportional to intensity.

    Parameters
    ----------
    scene : XrayScene
        What is seen, from where, and how it is recorded.
    beating : BeatingAnatomy
        The appendage at the frames' times.
    seed : int
        Of the background and of the quanta.
    """
    from scipy.ndimage import gaussian_filter

    setup, exposure = scene.setup, scene.exposure
    background_rng, quanta_rng = (
        np.random.default_rng(child) for child in np.random.SeedSequence([seed, 1]).spawn(2)
    )
    still = np.exp(-_behind(scene, background_rng))
    shifts = scene_shifts_mm(scene, beating)
    contrast = opacification(np.array(beating.times_ms)) * exposure.contrast_per_mm
    frames = np.empty((len(shifts), setup.rows, setup.columns), dtype=np.uint16)
    for index, shift in enumerate(shifts):
        seen = still.copy()
        if not scene.phantom:
            shape = filled_shape(setup, beating, index=index, ostium_mm=scene.ostium_mm(shift))
            attenuate_contrast(seen, shape, float(contrast[index]))
            if scene.implant is not None:
                seen *= _through_implant(scene.implant, beating, shape)
        for item in scene.objects:
            attenuate_object(seen, setup, item, shift)
        seen = gaussian_filter(seen, exposure.blur_sigma_px, mode="nearest") + exposure.veil
        frames[index] = _stored(seen, exposure, quanta_rng)
    return frames


def _behind(scene: XrayScene, rng: np.random.Generator) -> FloatArray:
    """Return the attenuation of what stands still behind the objects, shape (rows, columns)."""
    if scene.phantom:
        return np.full((scene.setup.rows, scene.setup.columns), PHANTOM_ABSORBER)
    return chest_attenuation(rng, scene.setup)


def _stored(
    intensity: FloatArray, exposure: XrayExposure, rng: np.random.Generator
) -> NDArray[np.uint16]:
    """Return 12-bit values of an intensity, with the noise of counted quanta."""
    if exposure.quanta > 0.0:
        intensity = rng.poisson(intensity * exposure.quanta) / exposure.quanta
    return np.clip(np.rint(intensity * exposure.full_scale), 0, 4095).astype(np.uint16)


def attenuate_object(
    seen: FloatArray,
    setup: XraySetup,
    item: ReferenceObject,
    shift_mm: FloatArray,
    *,
    per_side: int = 6,
) -> None:
    """Multiply an image by an object's transmission, averaged over spots of each pixel."""
    rows, columns = _pixels_near(item, setup, shift_mm)
    steps = (np.arange(per_side) + 0.5) / per_side - 0.5
    down, across = (grid.ravel() for grid in np.meshgrid(steps, steps, indexing="ij"))
    fine = np.stack(
        [
            (rows[:, np.newaxis] + down).ravel(),
            (columns[:, np.newaxis] + across).ravel(),
        ]
    )
    passed = np.exp(-item.attenuation(setup, fine, shift_mm)).reshape(len(rows), -1)
    seen[rows, columns] *= passed.mean(axis=1)


def _pixels_near(
    item: ReferenceObject, setup: XraySetup, shift_mm: FloatArray
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the rows and columns of all pixels that an object may touch."""
    outline = item.outline_mm()
    outline[:, :2] += shift_mm
    reach_px = 1.02 * item.reach_mm() / min(setup.mm_per_px(item.height_mm())) + 2.0
    middle = setup.project(outline)
    low = np.floor(middle.min(axis=0) - reach_px).astype(int)
    high = np.ceil(middle.max(axis=0) + reach_px).astype(int) + 1
    rows, columns = np.mgrid[
        max(low[0], 0) : min(high[0], setup.rows), max(low[1], 0) : min(high[1], setup.columns)
    ]
    place = np.stack([rows.ravel(), columns.ravel()], axis=1).astype(float)
    near_mm = item.distance_mm(setup.at_height(place, item.height_mm()) - shift_mm)
    near = near_mm <= reach_px * max(setup.mm_per_px(item.height_mm()))
    return rows.ravel()[near], columns.ravel()[near]


def attenuate_contrast(seen: FloatArray, shape: FilledShape, per_mm: float) -> None:
    """Multiply an image by the contrast-filled appendage's transmission, edges refined."""
    top, left, bottom, right = shape.box_px()
    rows, columns = (grid.ravel() for grid in np.mgrid[top:bottom, left:right])
    size = (bottom - top, right - left)
    covered = shape.filled_mm(rows.astype(float), columns.astype(float)).reshape(size)
    passed = np.exp(-per_mm * covered)
    at = np.nonzero(_edges(covered > 0.0))
    steps = (np.arange(4) + 0.5) / 4.0 - 0.5
    down, across = (grid.ravel() for grid in np.meshgrid(steps, steps, indexing="ij"))
    fine = shape.filled_mm(
        (top + at[0][:, np.newaxis] + down).ravel(), (left + at[1][:, np.newaxis] + across).ravel()
    )
    passed[at] = np.exp(-per_mm * fine).reshape(len(at[0]), -1).mean(axis=1)
    seen[top:bottom, left:right] *= passed
    seen *= np.exp(-per_mm * shape.faint_mm(seen.shape))


def _through_implant(implant: Implant, beating: BeatingAnatomy, shape: FilledShape) -> FloatArray:
    """Return the implant's transmission over a whole image."""
    setup = shape.setup
    rows, columns = (
        grid.ravel().astype(float) for grid in np.mgrid[0 : setup.rows, 0 : setup.columns]
    )
    source = shape.turn @ (setup.source_mm() - shape.ostium_mm)
    wall = implant.wall_along_mm(beating.anatomy, source, shape.turn @ setup.rays(rows, columns))
    return np.exp(-implant.wall_per_mm * wall).reshape(setup.rows, setup.columns)


def _edges(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the pixels within two pixels of a change of a mask."""
    from scipy.ndimage import binary_dilation, binary_erosion

    square = np.ones((3, 3), dtype=bool)
    grown = binary_dilation(inside, square)
    return np.asarray(grown & ~binary_erosion(inside, square))
