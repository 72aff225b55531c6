"""Open DICOM cine loops: header now, one frame's pixels when asked."""

from annot.loops.bounds import refuse_outside
from annot.loops.devices import Device
from annot.loops.display import LookupTable, Window
from annot.loops.ecg import EcgTrace, ecg_from_waveform, read_ecg
from annot.loops.finding import find_loops, leads_to_loops
from annot.loops.frame_vectors import FrameVectors
from annot.loops.header import LoopHeader
from annot.loops.header_reading import read_header
from annot.loops.loop import Loop, open_loop
from annot.loops.loop_array import LoopArray
from annot.loops.play_times import PlayTimes, play_times
from annot.loops.series import SeriesLoop, open_series
from annot.loops.series_folder import is_folder, open_folder
from annot.loops.shown_loop import DisplayChoice, ShownLoop, StoredRange, stored_range
from annot.loops.timing import FrameTimes
from annot.loops.transfer_syntaxes import missing_decoder, short_name
from annot.loops.ultrasound_regions import UltrasoundRegion
from annot.loops.xray_view import XrayView

__all__ = [
    "Device",
    "DisplayChoice",
    "EcgTrace",
    "FrameTimes",
    "FrameVectors",
    "LookupTable",
    "Loop",
    "LoopArray",
    "LoopHeader",
    "PlayTimes",
    "SeriesLoop",
    "ShownLoop",
    "StoredRange",
    "UltrasoundRegion",
    "Window",
    "XrayView",
    "ecg_from_waveform",
    "find_loops",
    "is_folder",
    "leads_to_loops",
    "missing_decoder",
    "open_folder",
    "open_loop",
    "open_series",
    "play_times",
    "read_ecg",
    "read_header",
    "refuse_outside",
    "short_name",
    "stored_range",
]
