"""One loop with phantoms in it: found, fitted on several frames, set against the header's scale."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from annot.calibration import MadeScale, NoScale, PixelScale, Placing, make_scale
from annot.calibration.intensity import StoredPixels, upright_frames
from annot.calibration.projection_geometry import StoredSpacing, spacing_variants
from annot.calibration.request import ObjectReading
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.loops import Loop
from annot.quality.phantom_search import FoundPhantom, find_phantoms
from annot.tasks.check.reference import Reference
from annot.uncertainty import MeasurementResult

MOST_FRAMES = 4
ALIKE = 1.15  # how far a found size may lie from the one that its certificate makes likely


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSettings:
    """How the phantom lies: half-ranges of its depth off the isocentre and of its tilt.

    Defaults are common practice, no source: laid on the isocentre by the room's lasers, flat by
    eye.
    """

    depth_mm: float = 10.0
    tilt_deg: float = 2.0

    def __post_init__(self) -> None:
        if not (0 < self.depth_mm <= 200 and 0 < self.tilt_deg <= 30):
            raise InputError(
                "The phantom's depth is known within 0 to 200 mm and its tilt within 0 to 30 "
                "degrees: state half-ranges above 0."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenReference:
    """A reference object as one loop shows it.

    Attributes
    ----------
    reference : Reference
    found : FoundPhantom
    frames : tuple of int
    made : MadeScale or None
        None where no frame could be fitted; then `why` says why.
    sizes_px : tuple of float
        The size in each frame that could be fitted, for the scatter between frames.
    """

    reference: Reference
    found: FoundPhantom
    frames: tuple[int, ...]
    made: MadeScale | None = None
    sizes_px: tuple[float, ...] = ()
    why: str = ""

    @property
    def at_object(self) -> MeasurementResult | None:
        """Return mm per pixel at the object, None where it could not be had."""
        scale = self.made.scale if self.made else None
        return scale.at_object if isinstance(scale, PixelScale) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhantomLoop:
    """What one loop shows of all references.

    Attributes
    ----------
    header_mm : tuple of float or None
        The header's own default spacing (row, column), as stored: what is being checked.
    seen : tuple of SeenReference
    missing : tuple of str
        References that were not found.
    """

    loop: Loop
    header_mm: tuple[float, float] | None
    header_basis: str
    seen: tuple[SeenReference, ...] = ()
    missing: tuple[str, ...] = field(default=())


def look_for(loop: Loop, references: Sequence[Reference], settings: RunSettings) -> PhantomLoop:
    """Find reference objects in an X-ray loop and fit them.

    Raises
    ------
    InputError
        If the loop is no X-ray loop.
    """
    header = loop.header
    if header.xray is None:
        raise InputError(f"{header.path.name} is no X-ray loop: grids and balls are fitted there.")
    frames = _chosen(loop.frames)
    spacing = _default_spacing(loop)
    found = phantoms_in(loop, frames[0])
    pairs, missing = _matched(found, references, spacing.mm_per_px[0] if spacing else None)
    return PhantomLoop(
        loop=loop,
        header_mm=spacing.mm_per_px if spacing else None,
        header_basis=spacing.basis if spacing else "the header states no usable spacing",
        seen=tuple(_fitted(loop, one, guess, frames, settings) for one, guess in pairs),
        missing=tuple(missing),
    )


def _chosen(count: int) -> tuple[int, ...]:
    """Return up to four frames, spread evenly over the loop."""
    places = np.linspace(0, count - 1, min(count, MOST_FRAMES))
    return tuple(sorted({round(float(one)) for one in places}))


def _default_spacing(loop: Loop) -> StoredSpacing | None:
    assert loop.header.xray is not None
    for one in spacing_variants(loop.header.xray.at(0)):
        if isinstance(one, StoredSpacing):
            return one
    return None


def phantoms_in(loop: Loop, number: int) -> tuple[FoundPhantom, ...]:
    """Return what is found on a frame of an X-ray loop, whichever way its values go."""
    frame = np.asarray(loop.frame(number), dtype=float)
    grey = frame if frame.ndim == 2 else frame.mean(axis=2)
    view, shutter = loop.header.xray, loop.display.shutter
    stored = StoredPixels(sign=(view.intensity_sign if view else None) or 1)
    top = float(2**loop.header.bits_stored - 1)
    hidden = None
    if shutter is not None:
        hidden = np.asarray(~shutter.visible(loop.header.rows, loop.header.columns))
    upright = upright_frames({number: grey}, stored, full_scale=top)[number]
    return find_phantoms(upright, hidden=hidden)


def _matched(
    found: Sequence[FoundPhantom], references: Sequence[Reference], mm_per_px: float | None
) -> tuple[list[tuple[Reference, FoundPhantom]], list[str]]:
    """Give each reference the phantom of its kind that is nearest to its size.

    Without a header scale, the largest of each kind goes to the largest reference, and so on.
    """
    pairs, missing = [], []
    free = list(found)
    for one in sorted(references, key=lambda reference: -reference.size_mm):
        kind = [each for each in free if each.kind == one.kind]
        if mm_per_px is not None:
            # a header that is wrong by more than this finds nothing rather than the wrong ball
            wanted = one.size_mm / mm_per_px
            limit = ALIKE if sum(each.kind == one.kind for each in found) > 1 else 2 * ALIKE
            kind = [each for each in kind if wanted / limit <= each.size_px <= wanted * limit]
            kind.sort(key=lambda each: abs(np.log(each.size_px / wanted)))
        if not kind:
            missing.append(one.name)
            continue
        free.remove(kind[0])
        pairs.append((one, kind[0]))
    return pairs, missing


def _fitted(
    loop: Loop,
    reference: Reference,
    found: FoundPhantom,
    frames: tuple[int, ...],
    settings: RunSettings,
) -> SeenReference:
    tilt = None if reference.kind == "sphere" else settings.tilt_deg
    placing = Placing(depth_offset_mm=settings.depth_mm, tilt_deg=tilt)
    sizes, good, why = [], [], ""
    for frame in frames:
        made = make_scale(loop, reference.request((_reading(found, frame),), placing))
        if isinstance(made.scale, NoScale):
            why = made.scale.reason
        elif made.seen is not None:
            sizes.append(made.seen.size.value)
            good.append(frame)
    if not good:
        return SeenReference(reference=reference, found=found, frames=frames, why=why)
    readings = tuple(_reading(found, frame) for frame in good)
    made = make_scale(loop, reference.request(readings, placing))
    return SeenReference(
        reference=reference,
        found=found,
        frames=tuple(good),
        made=made,
        sizes_px=tuple(sizes),
        why=made.scale.reason if isinstance(made.scale, NoScale) else "",
    )


def _reading(found: FoundPhantom, frame: int) -> ObjectReading:
    return ObjectReading(
        frame=frame,
        points=tuple(PixelPoint(row, column) for row, column in found.points),
        radius_px=found.size_px / 2 if found.kind == "sphere" else None,
    )
