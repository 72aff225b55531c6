"""Reference objects that a header names with their size: offered, never used by themselves.

Source: PS3.3 C.7.6.12 (Device module) and the Calibration Image flag (0050,0004). A size in a
header was typed or taken from a list by somebody: it is prefilled for a person to confirm, who
also shows where the object lies.
"""

from collections.abc import Iterator
from dataclasses import asdict, dataclass

from annot.loops import Device, LoopHeader

# Coded kinds of CID 8 and CID 3451 that can be read in a picture.
_KINDS = {
    ("122485", "DCM"): "sphere",
    ("19923001", "SCT"): "catheter",
    ("A-26800", "SRT"): "catheter",  # from memory: the retired code of the same catheter
    ("102304005", "SCT"): "segment",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceOffer:
    """An object of stated size, to be confirmed and traced by a person.

    Attributes
    ----------
    kind
        ``catheter``, ``sphere``, ``markers`` or ``segment``.
    size_mm
        Diameter, spacing of the bands, or length.
    stated
        The attribute and its value, as stored.
    was_calibrated_on
        Whether the header says that a known object in this picture was used to calibrate; None if
        it does not say.
    frames
        Frames, from 0, for which an enhanced object says so; empty for the whole loop.
    """

    kind: str
    size_mm: float
    stated: str
    was_calibrated_on: bool | None = None
    frames: tuple[int, ...] = ()

    @property
    def words(self) -> str:
        """What the header names, in a sentence."""
        used = " and says that it was used to calibrate" if self.was_calibrated_on else ""
        return (
            f"the header names a {self.kind} of {self.size_mm:.4g} mm ({self.stated}){used}: check "
            "its size and trace it to use it"
        )

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {**asdict(self), "frames": list(self.frames), "words": self.words}


def device_offers(header: LoopHeader) -> tuple[DeviceOffer, ...]:
    """Return every object of known size that the header names."""
    view = header.xray
    frames = view.calibration_frames if view else ()
    used = True if frames else view.calibration_image if view else None
    return tuple(
        DeviceOffer(kind=kind, size_mm=size, stated=stated, was_calibrated_on=used, frames=frames)
        for device in header.devices
        for kind, size, stated in _sizes(device)
    )


def _sizes(device: Device) -> Iterator[tuple[str, float, str]]:
    """List what of a device has a size that can be read in a picture."""
    kind = _KINDS.get((device.code, device.scheme))
    name = f"{device.meaning}, " if device.meaning else ""
    if device.inter_marker_mm is not None:
        yield "markers", device.inter_marker_mm, f"{name}Inter-Marker Distance"
    if device.diameter_mm is not None and kind in ("sphere", "catheter"):
        yield kind, device.diameter_mm, f"{name}Device Diameter {device.diameter_stated}"
    if device.length_mm is not None and kind == "segment":
        yield kind, device.length_mm, f"{name}Device Length"
