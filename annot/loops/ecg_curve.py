"""An ECG stored as a curve in the image's own file, as older echo machines do.

Source: the Curve module (groups 5000 to 501E, PS3.3 C.10.2, retired in 2004). The codes of data
types, descriptors and axis units are from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydicom.dataset import Dataset

from annot.errors import LoopError
from annot.loops.ecg_trace import EcgTrace, Samples

_DIMENSIONS, _POINTS, _KIND = 0x0005, 0x0010, 0x0020
_UNITS, _REPRESENTATION, _DESCRIPTOR = 0x0030, 0x0103, 0x0110
_START, _STEP, _DATA = 0x0112, 0x0114, 0x3000
# Data Value Representation: unsigned and signed short, single and double float, signed long.
_TYPES = {0: "u2", 1: "i2", 2: "f4", 3: "f8", 4: "i4"}
_MS_PER = {"SEC": 1000.0, "MILS": 1.0}
_VOLTAGES = {"MILV": "mV", "VOLT": "V"}
_SPACED, _STORED = 0, 1


def ecg_groups(dataset: Dataset) -> Iterator[int]:
    """Find the groups whose curve is an ECG, in order."""
    for group in range(0x5000, 0x501F, 2):
        if _said(dataset, group, _KIND) == ["ECG"]:
            yield group


def curve_trace(dataset: Dataset, group: int, *, big_endian: bool) -> EcgTrace:
    """Read one ECG curve, whose own zero of time is handed on as it is.

    Raises
    ------
    LoopError
        If what the curve says contradicts itself; the sentence says how.
    """
    name = f"Curve {group:04X}"
    shape = _shape(dataset, group, name, big_endian=big_endian)
    units = [str(unit).strip() for unit in _said(dataset, group, _UNITS)]
    clocks = [axis for axis, unit in enumerate(units) if unit in _MS_PER]
    if shape.dimensions != 2 or len(units) != 2 or len(clocks) != 1:
        raise LoopError(f"{name} does not have one axis of time and one of voltage")
    clock, volts = clocks[0], 1 - clocks[0]
    if shape.descriptor[volts] != _STORED:
        raise LoopError(f"{name} stores no voltages")
    axes = _axes(dataset, group, shape)
    times = axes[clock] * _MS_PER[units[clock]]
    if not (np.isfinite(axes).all() and (np.diff(times) > 0).all()):
        raise LoopError(f"{name} does not run forward in time or holds what is no number")
    return EcgTrace(
        times_ms=times,
        values=axes[volts].copy(),
        unit=_VOLTAGES.get(units[volts], ""),
        label=f"ECG curve {group:04X}",
        source=name,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shape:
    """How a curve is laid out: `name` is what sentences call it."""

    name: str
    dimensions: int
    points: int
    descriptor: tuple[int, ...]
    dtype: np.dtype[Any]


def _shape(dataset: Dataset, group: int, name: str, *, big_endian: bool) -> _Shape:
    dimensions, points, representation = (
        _number(dataset, group, element, name)
        for element in (_DIMENSIONS, _POINTS, _REPRESENTATION)
    )
    if representation not in _TYPES or points < 1:
        raise LoopError(f"{name} has {points} points of representation {representation}")
    descriptor = [int(one) for one in _said(dataset, group, _DESCRIPTOR)] or [_STORED] * dimensions
    if len(descriptor) != dimensions or not {_SPACED, _STORED} >= set(descriptor):
        raise LoopError(f"{name} does not describe its {dimensions} axes one by one")
    return _Shape(
        name=name,
        dimensions=dimensions,
        points=points,
        descriptor=tuple(descriptor),
        dtype=np.dtype((">" if big_endian else "<") + _TYPES[representation]),
    )


def _axes(dataset: Dataset, group: int, shape: _Shape) -> Samples:
    """Bring a curve to one row per axis, the evenly spaced axes computed."""
    stored = [axis for axis, kind in enumerate(shape.descriptor) if kind == _STORED]
    spaced = [axis for axis, kind in enumerate(shape.descriptor) if kind == _SPACED]
    element = dataset.get((group, _DATA))
    data = element.value if element is not None else b""
    wanted = shape.points * len(stored) * shape.dtype.itemsize
    if not isinstance(data, bytes) or len(data) != wanted:
        held = len(data) if isinstance(data, bytes) else 0
        raise LoopError(f"{shape.name} holds {held} bytes where its header asks for {wanted}")
    axes = np.empty((shape.dimensions, shape.points))
    axes[stored] = np.frombuffer(data, shape.dtype).reshape(shape.points, len(stored)).T
    if spaced:
        starts = _spacing(dataset, group, _START, len(spaced), shape)
        steps = _spacing(dataset, group, _STEP, len(spaced), shape)
        axes[spaced] = starts[:, None] + steps[:, None] * np.arange(shape.points)
    return axes


def _spacing(dataset: Dataset, group: int, element: int, count: int, shape: _Shape) -> Samples:
    """Read start or step values.

    They are declared as 16-bit words; a curve of another type spreads each over several of them.
    """
    words = [int(word) for word in _said(dataset, group, element)]
    if len(words) * 2 == count * shape.dtype.itemsize:
        # The parser has put the bytes of each word in order, so only words may be out of order.
        packed = np.array(words, dtype=shape.dtype.byteorder + "u2")
        return packed.view(shape.dtype).astype(np.float64)
    if len(words) == count:
        return np.array(words, dtype=np.float64)
    raise LoopError(f"{shape.name} gives {len(words)} start or step values for {count} axes")


def _number(dataset: Dataset, group: int, element: int, name: str) -> int:
    values = _said(dataset, group, element)
    if len(values) != 1:
        raise LoopError(f"{name} lacks attribute ({group:04X},{element:04X})")
    return int(values[0])


def _said(dataset: Dataset, group: int, element: int) -> list[Any]:
    found = dataset.get((group, element))
    if found is None or found.is_empty:
        return []
    value = found.value
    return [value] if isinstance(value, str | int | float | bytes) else list(value)
