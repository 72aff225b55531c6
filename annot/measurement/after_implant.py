"""A device's compression against its nominal width, and the class of a residual gap."""

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration import PixelScale
from annot.measurement.measure import Measurement
from annot.uncertainty import (
    InputQuantity,
    MeasurementResult,
    Tolerance,
    conformity,
    propagate,
)
from annot.vocabulary.device_measurands import COMPRESSIONS
from annot.vocabulary.gap_schemes import GapScheme

FloatArray = NDArray[np.float64]


def compression_of(width: Measurement, nominal: InputQuantity) -> Measurement:
    """Return (nominal − width)/nominal as a measurement of the same caliper.

    Source of the formula: common practice, no source. The nominal width's tolerance and the
    scale are inputs of the budget.

    Parameters
    ----------
    width : Measurement
        Of a device's width, in mm.
    nominal : InputQuantity
        The width stated for the device, in mm.

    Raises
    ------
    ValueError
        If the measurement is no device's width in mm.
    """
    outcome = COMPRESSIONS.get(width.outcome.name)
    if outcome is None or not isinstance(width.scale, PixelScale):
        raise ValueError(f"{width.outcome.name} gives no compression: a device's width in mm does.")
    result = propagate(_compression, [nominal, width.result], unit="1")
    low, high = outcome.plausible
    odd = () if low <= result.value <= high else (ODD.format(result.value, low, high),)
    return replace(
        width,
        outcome=outcome,
        result=result,
        raw_value=float(_compression(np.asarray(nominal.value), np.asarray(width.raw_value))),
        warnings=(*width.warnings, *odd),
    )


ODD = (
    "a compression of {:.2f} is outside {:g} to {:g}, where it usually lies: check place, scale "
    "and the stated nominal width"
)


def _compression(nominal: FloatArray, width: FloatArray) -> FloatArray:
    return np.asarray((nominal - width) / nominal)


@dataclass(frozen=True, slots=True, kw_only=True)
class GapClass:
    """A gap's class by a named scheme, with the probability of every class.

    Attributes
    ----------
    scheme : GapScheme
    of_value : str
        Class of the best estimate.
    probabilities : tuple of (class, probability)
        In the scheme's order; of the interval as stated, so a wrong landmark is not in them.
    """

    scheme: GapScheme
    of_value: str
    probabilities: tuple[tuple[str, float], ...]

    @property
    def words(self) -> str:
        """One sentence for a table's warnings, the boundary rule included."""
        shares = ", ".join(f"{name} {share:.0%}" for name, share in self.probabilities)
        return (
            f"class by the scheme {self.scheme.name} ({self.scheme.rule}): {self.of_value}; "
            f"probabilities: {shares}"
        )

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "scheme": self.scheme.name,
            "rule": self.scheme.rule,
            "source": self.scheme.source,
            "class": self.of_value,
            "probabilities": dict(self.probabilities),
        }


def gap_class_of(width: MeasurementResult, scheme: GapScheme) -> GapClass:
    """Class a measured gap; what lies below zero counts to the first class.

    Parameters
    ----------
    width : MeasurementResult
        In mm.
    scheme : GapScheme
    """
    edges = (-math.inf, *scheme.bounds_mm, math.inf)
    shares = [
        conformity(width, Tolerance(low=low, high=high)) for low, high in itertools.pairwise(edges)
    ]
    return GapClass(
        scheme=scheme,
        of_value=scheme.class_of(width.value),
        probabilities=tuple(zip(scheme.classes, shares, strict=True)),
    )
