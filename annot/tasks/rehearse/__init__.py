"""Rehearsals against known truth: the demonstration, and studies of how often intervals hold.

The only door between the instrument and the generator of truth.
"""

from annot.tasks.rehearse.blinded_study import StudyRehearsal, rehearse_study
from annot.tasks.rehearse.curve_study import CURVE, curve_study
from annot.tasks.rehearse.demo import ECHO, XRAY, Rehearsal, ScaleCompared, rehearse
from annot.tasks.rehearse.followup import FollowUp, rehearse_followup
from annot.tasks.rehearse.plots import write_plots
from annot.tasks.rehearse.reading_study import READING, reading_study
from annot.tasks.rehearse.report import CAUTION_OF_STUDIES, Bar, Cell, StudyReport
from annot.tasks.rehearse.scale_study import SCALE_KINDS, scale_study
from annot.tasks.rehearse.study import Study, run_case, run_study
from annot.tasks.rehearse.tally import Tally, tally
from annot.tasks.rehearse.trial import Trial
from annot.tasks.rehearse.truth_beside import ChangeCompared, Compared, QuantityHeld
from annot.tasks.rehearse.workers import Place

__all__ = [
    "CAUTION_OF_STUDIES",
    "CURVE",
    "ECHO",
    "READING",
    "SCALE_KINDS",
    "XRAY",
    "Bar",
    "Cell",
    "ChangeCompared",
    "Compared",
    "FollowUp",
    "Place",
    "QuantityHeld",
    "Rehearsal",
    "ScaleCompared",
    "Study",
    "StudyRehearsal",
    "StudyReport",
    "Tally",
    "Trial",
    "curve_study",
    "reading_study",
    "rehearse",
    "rehearse_followup",
    "rehearse_study",
    "run_case",
    "run_study",
    "scale_study",
    "tally",
    "write_plots",
]
