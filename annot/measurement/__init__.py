"""Calipers become measurements."""

from annot.measurement.caliper import Caliper
from annot.measurement.echo_beam import Beam
from annot.measurement.measure import (
    Known,
    Measurement,
    drawn_value,
    measure_all,
    measure_caliper,
    measure_outcome,
)

__all__ = [
    "Beam",
    "Caliper",
    "Known",
    "Measurement",
    "drawn_value",
    "measure_all",
    "measure_caliper",
    "measure_outcome",
]
