"""On which frames of a loop a scale holds, where the loop's geometry changes on the way."""

from collections.abc import Iterable
from dataclasses import dataclass

from annot.calibration.geometry_key import GeometryKey
from annot.calibration.identity import geometry_key
from annot.loops import LoopHeader, XrayView


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldFrames:
    """The frames of one loop on which a scale holds: those of the geometry it was made in.

    Attributes
    ----------
    header : LoopHeader
        The loop on which the scale is used.
    reference : GeometryKey
        The geometry in which it was made.
    frame : int or None
        The frame of this same loop on which it was made; None if it was made on another loop.
    angles : bool
        Whether the angles count: not where a depth was stated for other angles.
    """

    header: LoopHeader
    reference: GeometryKey
    frame: int | None = None
    angles: bool = True

    def differences(self, frame: int) -> tuple[str, ...]:
        """Return in words what is different on a frame, empty where the scale holds."""
        if frame == self.frame:
            return ()
        found = self.reference.differences(geometry_key(self.header, frame), angles=self.angles)
        if self.frame is None:
            return found
        return (*found, *_moves(self.header.xray, self.frame, frame))


def held_frames(header: LoopHeader, frame: int) -> HeldFrames | None:
    """Return where a scale made on a frame holds in its own loop; None if on all frames."""
    if header.xray is None or not header.xray.varies:
        return None
    return HeldFrames(header=header, reference=geometry_key(header, frame), frame=frame)


def differing_frames(header: LoopHeader, frames: Iterable[int]) -> tuple[str, ...]:
    """Return what differs between the first of some frames and any other of them."""
    first, *others = frames
    held = held_frames(header, first)
    if held is None:
        return ()
    return tuple(dict.fromkeys(text for frame in others for text in held.differences(frame)))


def _moves(view: XrayView | None, first: int, second: int) -> tuple[str, ...]:
    """Say what moved between two frames of one loop without showing in the geometry key."""
    if view is None:
        return ()
    one, other = view.at(first), view.at(second)
    texts = []
    if view.positioner_motion == "DYNAMIC" and None in (other.primary_deg, other.secondary_deg):
        texts.append("the positioner's angles, which move and are not stated for every frame,")
    if one.table_mm != other.table_mm:
        texts.append(f"the table's position ({one.table_mm} against {other.table_mm} mm)")
    return tuple(texts)
