"""Open DICOM cine loops: header now, one frame's pixels when asked."""

from annot.loops.header import LoopHeader
from annot.loops.header_reading import read_header
from annot.loops.loop import Loop, open_loop
from annot.loops.timing import FrameTimes
from annot.loops.transfer_syntaxes import missing_decoder
from annot.loops.ultrasound_regions import UltrasoundRegion
from annot.loops.xray_view import XrayView

__all__ = [
    "FrameTimes",
    "Loop",
    "LoopHeader",
    "UltrasoundRegion",
    "XrayView",
    "missing_decoder",
    "open_loop",
    "read_header",
]
