"""The scale that a loop's own header offers, X-ray or ultrasound."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.calibration.candidates import candidate_scales
from annot.calibration.projection_scale import frame_scale
from annot.calibration.region_scales import RegionScales
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale
from annot.calibration.scale_agreement import compare_scales, with_disagreements
from annot.geometry import PixelPoint
from annot.loops import LoopHeader


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameScales:
    """An X-ray loop's header scale where the geometry changes: each frame has its own."""

    header: LoopHeader
    request: HeaderRequest

    def at(self, points: Sequence[PixelPoint], *, frame: int | None = None) -> PixelScale | NoScale:
        """Return the scale of a frame, or why that frame has none."""
        del points  # a projection has one scale all over
        if frame is None:
            return NoScale(
                reason="the loop's geometry changes on the way: name the frame to be scaled"
            )
        scale = frame_scale(self.header, self.request, frame)
        if isinstance(scale, NoScale):
            return scale
        return with_disagreements(
            scale, compare_scales(scale, candidate_scales(self.header, self.request, frame=frame))
        )


def header_scale(
    header: LoopHeader, request: HeaderRequest
) -> PixelScale | RegionScales | FrameScales | NoScale:
    """Return the scale stated in a header.

    Returns
    -------
    PixelScale for a projection, FrameScales for one that changes from frame to frame, RegionScales
    for ultrasound with regions, otherwise NoScale with the reason: secondary captures and pictures
    whose plane is not known have none.
    """
    if header.xray is not None:
        if header.xray.varies:
            return FrameScales(header=header, request=request)
        return frame_scale(header, request, 0)
    if header.modality == "US":
        if not header.regions:
            return NoScale(reason="the file has no ultrasound regions, so its pixels have no size")
        return RegionScales(header=header, request=request)
    return NoScale(
        reason=(
            f"a {header.modality or 'nameless'} picture's header states no size in the patient "
            "that can be relied on"
        )
    )
