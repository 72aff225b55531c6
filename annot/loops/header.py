"""What the rest of the house may know about a loop."""

from dataclasses import dataclass
from pathlib import Path

from annot.loops.devices import Device
from annot.loops.timing import FrameTimes
from annot.loops.ultrasound_regions import UltrasoundRegion
from annot.loops.xray_view import XrayView
from annot.vocabulary import FrameReference


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopHeader:
    """The facts of one stored loop, without any identity of the person imaged.

    Attributes
    ----------
    path
        The file.
    sop_instance_uid, sop_class_uid, study_instance_uid, series_instance_uid
        Identifiers as stored; empty if the file has none (then `warnings` says so).
    modality
        ``XA``, ``US``, … as stored.
    transfer_syntax_uid, transfer_syntax_name
        How the pixels are encoded.
    rows, columns, frames, samples_per_pixel, bits_allocated, bits_stored, pixel_representation
        Shape and type of the stored pixels; a single image is a loop of one frame.
    photometric
        Photometric interpretation as stored (colour frames are handed out as RGB all the same).
    frame_times
        Time of every frame from the first, and its source.
    r_wave_times_ms
        R peaks on the same time axis, empty if not stated.
    heart_rate
        Beats per minute, ``None`` if unknown.
    xray
        The projection, for X-ray loops only.
    regions
        Ultrasound regions, in the order of the file.
    pixel_spacing_mm
        PixelSpacing as (row, column) of a file that is not an X-ray loop.
    devices
        Devices that the header says were used, whose size may be known.
    system
        Pseudonym of the imaging system; empty if nothing tells it.
    window
        Centre and width for display, of the first pair stated.
    burned_in
        Whether text is burned into the pixels; ``None`` if the file does not say.
    lossy
        Whether the pixels went through lossy compression; ``None`` if the file does not say.
    images
        SOP instance UIDs, one per frame, where each frame is an image of its own; else empty.
    warnings
        One sentence for everything odd or contradictory in the header.
    """

    path: Path
    sop_instance_uid: str
    sop_class_uid: str
    study_instance_uid: str
    series_instance_uid: str
    modality: str
    transfer_syntax_uid: str
    transfer_syntax_name: str
    rows: int
    columns: int
    frames: int
    samples_per_pixel: int
    bits_allocated: int
    bits_stored: int
    pixel_representation: int
    photometric: str
    frame_times: FrameTimes
    r_wave_times_ms: tuple[float, ...] = ()
    heart_rate: float | None = None
    xray: XrayView | None = None
    regions: tuple[UltrasoundRegion, ...] = ()
    pixel_spacing_mm: tuple[float, float] | None = None
    devices: tuple[Device, ...] = ()
    system: str = ""
    window: tuple[float, float] | None = None
    burned_in: bool | None = None
    lossy: bool | None = None
    images: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def colour(self) -> bool:
        """Whether frames are handed out as RGB."""
        return self.samples_per_pixel == 3 or self.photometric == "PALETTE COLOR"

    def reference(self, frame: int) -> FrameReference:
        """Name the stored image and the frame in it that a frame of the loop is."""
        if self.images:
            return FrameReference(sop_instance_uid=self.images[frame], frame=0)
        return FrameReference(sop_instance_uid=self.sop_instance_uid, frame=frame)

    def frame_of(self, reference: FrameReference) -> int:
        """Find the frame of the loop that a stored image's frame is: undoes `reference`."""
        if self.images:
            return self.images.index(reference.sop_instance_uid)
        return reference.frame
