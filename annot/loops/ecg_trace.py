"""One electrocardiogram lead on the time axis of its loop."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EcgTrace:
    """An ECG as it runs beside the frames.

    Attributes
    ----------
    times_ms : (samples,) ndarray, read-only
        Time of every sample; 0 is the first frame, as for frame times and R waves.
    values : (samples,) ndarray, read-only
        Voltage in `unit`; not a number where the file marks a sample as padding.
    unit
        ``mV``, ``uV``, ``V``, or empty if the file gives no unit.
    label
        The lead in the words of its code, or which curve it is.
    source
        Where it was stored: ``Curve 5000`` or ``WaveformSequence``.
    """

    times_ms: Samples
    values: Samples
    unit: str
    label: str
    source: str


def lasting(times_ms: Samples, frame_times_ms: tuple[float, ...] | None) -> str:
    """Say how a trace misses its loop; empty if it covers all of it or the frames have no times."""
    if frame_times_ms is None:
        return ""
    first, last = float(times_ms[0]), float(times_ms[-1])
    if last < frame_times_ms[0] or first > frame_times_ms[-1]:
        return "none"
    if last < frame_times_ms[-1] or first > frame_times_ms[0]:
        return "part"
    return ""
