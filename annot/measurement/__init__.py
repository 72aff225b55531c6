"""Calipers become measurements."""

from annot.measurement.caliper import Caliper
from annot.measurement.measure import Measurement, measure_caliper

__all__ = ["Caliper", "Measurement", "measure_caliper"]
