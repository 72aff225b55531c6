"""Every scale that a loop could have, with the reasons for those that are refused.

Listing chooses nothing: which scale is used is a person's recorded act.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from annot.calibration.projection_geometry import RefusedSpacing, spacing_variants
from annot.calibration.projection_scale import scale_of_spacing
from annot.calibration.region_scales import RegionScales
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale
from annot.calibration.ultrasound_region import what_it_shows
from annot.geometry import PixelPoint
from annot.loops import LoopHeader, UltrasoundRegion

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleCandidate:
    """One scale that a header offers, or one number in it that is none.

    Attributes
    ----------
    name
        Which of the header's statements it is.
    basis
        What it rests on, in words.
    scale
        The scale with its budget, or why it is none.
    stated_mm
        Of what is no scale: the spacing as stored (row, column), if there is one.
    """

    name: str
    basis: str
    scale: PixelScale | NoScale
    stated_mm: Pair | None = None


def candidate_scales(
    header: LoopHeader, request: HeaderRequest | None = None, *, frame: int = 0
) -> tuple[ScaleCandidate, ...]:
    """List every scale that a loop's header offers, the one in use by default first.

    Parameters
    ----------
    header
        The loop's header.
    request
        What a person states about header scales; defaults where it is left out.
    frame
        The frame they are for, where the geometry changes from frame to frame.
    """
    asked = request or HeaderRequest()
    if header.xray is not None:
        return tuple(_of_projection(header, asked, frame))
    if header.modality == "US":
        return tuple(_of_regions(header, asked))
    return tuple(_of_picture(header))


def _of_projection(
    header: LoopHeader, request: HeaderRequest, frame: int
) -> Iterator[ScaleCandidate]:
    assert header.xray is not None
    for spacing in spacing_variants(header.xray.at(frame)):
        if isinstance(spacing, RefusedSpacing):
            yield ScaleCandidate(
                name=spacing.name,
                basis=_BASES[spacing.name],
                scale=NoScale(reason=spacing.reason),
                stated_mm=spacing.stated_mm,
            )
        else:
            scale = scale_of_spacing(header, request, spacing, frame=frame)
            stated = spacing.mm_per_px if isinstance(scale, NoScale) else None
            yield ScaleCandidate(
                name=spacing.name, basis=spacing.basis, scale=scale, stated_mm=stated
            )
    detector = header.xray.at(frame).imager_pixel_spacing_mm
    if detector is not None:
        yield ScaleCandidate(
            name="detector",
            basis="ImagerPixelSpacing, as stored",
            scale=NoScale(reason="lies at the detector, not in the patient"),
            stated_mm=detector,
        )


_BASES = {
    "pixel-spacing": "PixelSpacing, as stored",
    "centre-of-beam": "Object Pixel Spacing in Center of Beam, as stored",
    "above-table": "ImagerPixelSpacing brought to the object's height above the table",
    "isocentre": "ImagerPixelSpacing brought to the isocentre",
}


def _of_regions(header: LoopHeader, request: HeaderRequest) -> Iterator[ScaleCandidate]:
    scales = RegionScales(header=header, request=request)
    for number, region in enumerate(header.regions, start=1):
        yield ScaleCandidate(
            name=f"region-{number}",
            basis=f"ultrasound region of rows {region.min_y0} to {region.max_y1}",
            # where several regions overlap, what holds in the middle is what they all say
            scale=scales.at([_middle(region)])
            if region.is_2d_length
            else NoScale(reason=f"it gives no lengths: {what_it_shows(region)}"),
            stated_mm=region.mm_per_px if region.is_2d_length else None,
        )
    if not header.regions:
        yield ScaleCandidate(name="regions", basis="ultrasound regions", scale=_no_regions(scales))
    yield from _of_picture(header) if header.pixel_spacing_mm else ()


def _no_regions(scales: RegionScales) -> NoScale:
    found = scales.at([PixelPoint(0.0, 0.0)])
    assert isinstance(found, NoScale)
    return found


def _middle(region: UltrasoundRegion) -> PixelPoint:
    return PixelPoint((region.min_y0 + region.max_y1) / 2, (region.min_x0 + region.max_x1) / 2)


def _of_picture(header: LoopHeader) -> Iterator[ScaleCandidate]:
    """List the spacing of a picture that is no projection: it says nothing of a patient."""
    yield ScaleCandidate(
        name="pixel-spacing",
        basis="PixelSpacing, plane not known",
        scale=NoScale(
            reason=(
                f"a {header.modality or 'nameless'} picture's header states no size in the patient "
                "that can be relied on"
            )
        ),
        stated_mm=header.pixel_spacing_mm,
    )
