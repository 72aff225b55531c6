"""The field's words: measurands, frames, cautions."""

from annot.vocabulary.cautions import CAUTION, SCOPE_OF_INTERVAL
from annot.vocabulary.frames import FrameReference
from annot.vocabulary.measurands import MEASURANDS, OUTCOMES, Measurand, Outcome

__all__ = [
    "CAUTION",
    "MEASURANDS",
    "OUTCOMES",
    "SCOPE_OF_INTERVAL",
    "FrameReference",
    "Measurand",
    "Outcome",
]
