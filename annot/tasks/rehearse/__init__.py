"""Rehearsals against known truth: the demonstration, and studies of how often intervals hold.

The only door between the instrument and the generator of truth.
"""

from annot.tasks.rehearse.demo import ECHO, XRAY, Compared, Rehearsal, ScaleCompared, rehearse
from annot.tasks.rehearse.reading_study import reading_study
from annot.tasks.rehearse.report import Bar, StudyReport
from annot.tasks.rehearse.scale_study import SCALE_KINDS, scale_study
from annot.tasks.rehearse.study import Study, run_case, run_study
from annot.tasks.rehearse.tally import Tally, tally
from annot.tasks.rehearse.trial import Trial

__all__ = [
    "ECHO",
    "SCALE_KINDS",
    "XRAY",
    "Bar",
    "Compared",
    "Rehearsal",
    "ScaleCompared",
    "Study",
    "StudyReport",
    "Tally",
    "Trial",
    "reading_study",
    "rehearse",
    "run_case",
    "run_study",
    "scale_study",
    "tally",
]
