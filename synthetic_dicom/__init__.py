"""Synthetic cine loops with known truth; shares no code with the measuring packages."""

from synthetic_dicom.case import Case
from synthetic_dicom.case_truth import truth_of
from synthetic_dicom.cases import CASES, render_case, write_case
from synthetic_dicom.truth import Truth, truth_from_json, truth_to_json
from synthetic_dicom.write import WrittenLoop

__all__ = [
    "CASES",
    "Case",
    "Truth",
    "WrittenLoop",
    "render_case",
    "truth_from_json",
    "truth_of",
    "truth_to_json",
    "write_case",
]
