"""An ECG stored as a waveform: samples of several channels taken in turn.

Source: PS3.3 C.10.9 (Waveform module): value = sample × sensitivity × correction + baseline.
"""

from typing import Any

import numpy as np
from pydicom.dataset import Dataset

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.ecg_trace import EcgTrace

SOURCE = "WaveformSequence"
# 12-lead, general, ambulatory, general 32-bit ECG: all their channels are leads.
_ECG_CLASSES = frozenset(f"1.2.840.10008.5.1.4.1.1.9.1.{tail}" for tail in ("1", "2", "3", "4"))
_VOLTAGES = ("V", "mV", "uV")
_TYPES = {"SB": "i1", "UB": "u1", "SS": "i2", "US": "u2", "SL": "i4", "UL": "u4"}


def waveform_trace(dataset: Dataset, *, big_endian: bool) -> EcgTrace | None:
    """Read the first ECG lead; its times count from the acquisition date-time of the file.

    Returns
    -------
    EcgTrace or None
        ``None`` if no channel is an ECG lead.

    Raises
    ------
    LoopError
        If what the file says of the lead contradicts itself; the sentence says how.
    """
    every = str(dataset.get("SOPClassUID", "")) in _ECG_CLASSES
    for group in Attributes(dataset, []).items(SOURCE):
        for number, channel in enumerate(Attributes(group, []).items("ChannelDefinitionSequence")):
            if _is_lead(channel, every=every):
                return _trace(group, channel, number, big_endian=big_endian)
    return None


def _is_lead(channel: Dataset, *, every: bool) -> bool:
    if every:
        return _unit(channel) in (*_VOLTAGES, "")
    meaning = _meaning(channel).casefold()
    return _unit(channel) in _VOLTAGES and ("ecg" in meaning or "lead" in meaning)


def _meaning(channel: Dataset) -> str:
    sources = Attributes(channel, []).items("ChannelSourceSequence")
    return Attributes(sources[0], []).text("CodeMeaning") or "" if sources else ""


def _unit(channel: Dataset) -> str:
    units = Attributes(channel, []).items("ChannelSensitivityUnitsSequence")
    return Attributes(units[0], []).text("CodeValue") or "" if units else ""


def _trace(group: Dataset, channel: Dataset, number: int, *, big_endian: bool) -> EcgTrace:
    stored = _samples(group, number, big_endian=big_endian)
    values = stored.astype(np.float64)
    padding = _padding(group, stored.dtype)
    unit, scaled = _unit(channel), _number(channel, "ChannelSensitivity")
    if scaled is not None:
        if unit not in _VOLTAGES or not scaled > 0:
            raise LoopError("The ECG's sensitivity is no voltage per step")
        values *= scaled * _number_or(1.0, channel, "ChannelSensitivityCorrectionFactor")
        values += _number_or(0.0, channel, "ChannelBaseline")
    if padding is not None:
        values[stored == padding] = np.nan
    rate = _number(group, "SamplingFrequency")
    if rate is None or not rate > 0:
        raise LoopError("The ECG states no sampling frequency")
    first = _number_or(0.0, group, "MultiplexGroupTimeOffset") + 1000.0 * _skew(channel, rate)
    return EcgTrace(
        times_ms=first + np.arange(len(values), dtype=np.float64) * (1000.0 / rate),
        values=values,
        unit=unit if scaled is not None else "",
        label=_meaning(channel) or f"ECG channel {number + 1}",
        source=SOURCE,
    )


def _samples(group: Dataset, number: int, *, big_endian: bool) -> np.ndarray[Any, np.dtype[Any]]:
    """Pick one channel's samples; what the header claims is held against the bytes first."""
    said = Attributes(group, [])
    kind = said.text("WaveformSampleInterpretation") or ""
    dtype = np.dtype((">" if big_endian else "<") + _TYPES[kind]) if kind in _TYPES else None
    if dtype is None or said.whole("WaveformBitsAllocated") != 8 * dtype.itemsize:
        raise LoopError(
            f"The ECG's samples of type {kind[:2] or 'unknown'} are not read, or differ from its "
            "bits"
        )
    channels, count = said.whole("NumberOfWaveformChannels"), said.whole("NumberOfWaveformSamples")
    defined = len(said.items("ChannelDefinitionSequence"))
    if channels != defined or count is None or count < 1:
        raise LoopError(f"The ECG defines {defined} channels where it states {channels}")
    data = group.get("WaveformData")
    held = len(data) if isinstance(data, bytes) else 0
    wanted = channels * count * dtype.itemsize
    if not isinstance(data, bytes) or held != wanted + wanted % 2:
        raise LoopError(f"The ECG holds {held} bytes where its header asks for {wanted}")
    return np.frombuffer(data[:wanted], dtype).reshape(count, channels)[:, number]


def _padding(group: Dataset, dtype: np.dtype[Any]) -> int | None:
    value = group.get("WaveformPaddingValue")
    if not value:
        return None
    if isinstance(value, bytes) and len(value) >= dtype.itemsize:
        return int(np.frombuffer(value[: dtype.itemsize], dtype)[0])
    raise LoopError("The ECG's padding value has another type than its samples")


def _skew(channel: Dataset, rate: float) -> float:
    """Seconds from the group's first sample to the channel's."""
    seconds, samples = (
        _number(channel, keyword) for keyword in ("ChannelTimeSkew", "ChannelSampleSkew")
    )
    if seconds is not None and samples is not None and abs(seconds - samples / rate) > 0.5 / rate:
        raise LoopError("The ECG states two different skews")
    if seconds is None:
        return (samples or 0.0) / rate
    return seconds


def _number(dataset: Dataset, keyword: str) -> float | None:
    """Read a number; one that is there but wrong is refused, not replaced by a default."""
    said = Attributes(dataset, [])
    value = said.number(keyword)
    if said.warnings:
        raise LoopError(f"The ECG's {said.warnings[0].removesuffix(' and is not used.')}")
    return value


def _number_or(default: float, dataset: Dataset, keyword: str) -> float:
    value = _number(dataset, keyword)
    return default if value is None else value
