"""From a rendered object to the instrument's answer, through a file, as a user's would go."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annot.calibration import MadeScale, NoScale, PixelScale, make_scale
from annot.calibration.request import ObjectRequest
from annot.errors import InputError
from annot.loops import Loop, open_loop
from annot.reads import parse_request
from annot.tasks.rehearse.tally import NAIVE
from annot.tasks.rehearse.trial import Answered, Trial, trial_of
from annot.uncertainty import (
    InputQuantity,
    MeasurementResult,
    Quantity,
    estimate,
    exact,
    propagate,
)

if TYPE_CHECKING:
    pass

Fields = dict[str, object]
SOURCE_MM = {"sid": 1040.0, "sod": 750.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A picture with one object, the request a reader would make, and the truth.

    Attributes
    ----------
    stored : ndarray of uint16, shape (rows, columns)
    request : dict
        In the read file's words.
    size_px, mm_per_px : float
        True size of the object in pixels, and true scale at its depth.
    """

    stored: NDArray[np.uint16]
    request: Fields
    size_px: float
    mm_per_px: float


def made_scale(shown: Shown, *, case: int) -> MadeScale:
    """Write the picture with a header that tells the truth, open it, and scale it."""
    from synthetic_dicom.picture_file import write_xray_picture
    from synthetic_dicom.xray_view import XraySetup

    rows, columns = shown.stored.shape
    spacing = shown.mm_per_px * SOURCE_MM["sid"] / SOURCE_MM["sod"]
    setup = XraySetup(
        sid_mm=SOURCE_MM["sid"],
        sod_mm=SOURCE_MM["sod"],
        spacing_mm=(spacing, spacing),
        rows=rows,
        columns=columns,
    )
    request = parse_request(shown.request, name=f"case {case}")
    assert isinstance(request, ObjectRequest)
    with TemporaryDirectory() as folder:
        path = write_xray_picture(shown.stored, setup, Path(folder) / "case.dcm", seed=case)
        return scale_or_refusal(open_loop(path), request)


def scale_or_refusal(loop: Loop, request: ObjectRequest) -> MadeScale:
    """Scale a loop; a fault of the input counts as a refusal, as it gives no number either."""
    try:
        return make_scale(loop, request)
    except InputError as fault:
        return MadeScale(scale=NoScale(reason=fault.message))


def answers(
    shown: Shown, *, case: int, arm: str, labels: Mapping[str, str], beside: Mapping[str, float]
) -> tuple[Trial, ...]:
    """Return two trials: the object's size in pixels by the fit alone, and the whole scale.

    The first leaves the allowances for the model and for the filling out, as a picture's own size
    owes them nothing; the second is what a user gets.
    """
    made = made_scale(shown, case=case)
    fit = Trial(
        case=case,
        arm=arm,
        labels={"quantity": "size, fit alone", **labels},
        unit="px",
        true=shown.size_px,
        beside=beside,
    )
    scale = replace(
        fit,
        labels={"quantity": "scale", **labels},
        unit="mm/px",
        true=shown.mm_per_px,
        beside={},
    )
    if isinstance(made.scale, NoScale):
        return trial_of(made.scale.reason, fit), trial_of(made.scale.reason, scale)
    assert isinstance(made.scale, PixelScale)
    assert made.seen is not None
    row, naive = made.scale.row, made.seen.details.get("half_depth_px")
    if isinstance(naive, float):
        fit = replace(fit, beside={**beside, NAIVE: naive})
    return (
        trial_of(_fit_alone(made.seen.size), fit),
        trial_of(
            Answered(value=row.value, u=row.u, interval=made.scale.interval()),
            scale,
        ),
    )


def _fit_alone(size: MeasurementResult) -> Answered:
    """Return a fitted size without the allowances for what a real object may do differently."""
    bare = _bare(size)
    return Answered(value=bare.value, u=bare.u, interval=estimate(bare).interval)


def _bare(result: MeasurementResult) -> MeasurementResult:
    """Return the same tree with the model's and the filling's allowances held at their values."""
    assert result.model is not None
    arguments: list[Quantity] = [
        _bare(one) if isinstance(one, MeasurementResult) else _held(one) for one in result.arguments
    ]
    return propagate(result.model, arguments, unit=result.unit, correlations=result.correlations)


def _held(one: InputQuantity) -> InputQuantity:
    if not one.key.endswith((":model", ":filling")):
        return one
    return exact(one.value, key=one.key, unit=one.unit, source="left out")
