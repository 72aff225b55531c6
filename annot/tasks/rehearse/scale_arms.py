"""The arms of the quick scale studies: pictures as the fit models them, or broken in one way."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from synthetic_dicom.object_picture import Recording

MISMATCHES = ("glare", "veil", "logarithm", "noise")
EVERY = 4
DRAWN_ARMS: Mapping[str, str] = MappingProxyType(
    {
        "glare (mismatch)": "a fifth of the blur is three times as wide",
        "veil (mismatch)": "scatter 0.5 to 0.7 of the background",
        "logarithm (mismatch)": "logarithms are stored, while the header says intensities",
        "noise (mismatch)": "noise of neighbouring pixels goes together (blur of 0.7 px)",
    }
)


def mismatch_of(case: int, cells: int) -> str:
    """Return which mismatch a case is given to, empty for none: every fourth round of the cells."""
    turn = case // cells
    return MISMATCHES[turn // EVERY % len(MISMATCHES)] if turn % EVERY == EVERY - 1 else ""


def broken(recording: "Recording", mismatch: str) -> "Recording":
    """Return a recording with one assumption broken; as it is for an empty word."""
    if mismatch == "glare":
        return replace(recording, tail=0.2)
    if mismatch == "veil":
        return replace(recording, veil=recording.veil / 2 + 0.5)
    if mismatch == "logarithm":
        return replace(recording, logarithmic=True)
    return replace(recording, correlated_px=0.7) if mismatch == "noise" else recording
