"""Enhanced objects keep geometry and time in functional groups; here they become plain attributes.

Source: PS3.3 C.7.6.16 (multi-frame functional groups: what is shared, and what each frame says for
itself). An attribute is looked for in every macro of a group, so that it does not matter which of
them an edition of the standard puts it into.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from pydicom.dataset import Dataset
from pydicom.valuerep import DT

from annot.loops.attributes import Attributes
from annot.loops.frame_vectors import GEOMETRY, TRIPLES
from annot.loops.quiet import captured_warnings

_SHARED, _PER_FRAME = "SharedFunctionalGroupsSequence", "PerFrameFunctionalGroupsSequence"
_ANGLES = ("PositionerPrimaryAngle", "PositionerSecondaryAngle")
_SAME_FOR_ALL = (
    "DistanceSourceToDetector",
    "DistanceSourceToPatient",
    "DistanceSourceToIsocenter",
    "EstimatedRadiographicMagnificationFactor",
    "ImagerPixelSpacing",
    "PixelSpacing",
    "PixelSpacingCalibrationType",
    "PixelSpacingCalibrationDescription",
    "DetectorPrimaryAngle",
    "DetectorSecondaryAngle",
    "PixelIntensityRelationship",
    "PixelIntensityRelationshipSign",
    "FieldOfViewShape",
    "FieldOfViewDimensions",
    "FieldOfViewDimensionsInFloat",
    "ObjectPixelSpacingInCenterOfBeam",
    "DistanceObjectToTableTop",
    "TableHeight",
    "BeamAngle",
    "GeometricalProperties",
    "GeometricMaximumDistortion",
    *(keyword for triple in TRIPLES for keyword in triple),
)
# Each frame may have its own; the first one's is enough to show a picture.
_OF_THE_FIRST = (
    "WindowCenter",
    "WindowWidth",
    "WindowCenterWidthExplanation",
    "VOILUTFunction",
    "RescaleSlope",
    "RescaleIntercept",
)
_TIMES = ("FrameAcquisitionDateTime", "FrameReferenceDateTime")
_CALIBRATION_IMAGE = "CalibrationImage"
_WANTED = frozenset({*_ANGLES, *_SAME_FOR_ALL, *_OF_THE_FIRST, *_TIMES, _CALIBRATION_IMAGE})


class FunctionalGroups:
    """What the groups of one enhanced object say, frame by frame.

    Parameters
    ----------
    dataset
        The parsed dataset.
    frames
        Number of frames of the loop.
    """

    def __init__(self, dataset: Dataset, *, frames: int) -> None:
        self._shared = _said(next(iter(_items(dataset, _SHARED)), None))
        self._each = [_said(item) for item in _items(dataset, _PER_FRAME)]
        self.frames = frames

    @property
    def described(self) -> int:
        """How many frames have a group of their own."""
        return len(self._each)

    def values(self, keyword: str) -> list[Any]:
        """Give one value per frame, ``None`` where a frame is not told."""
        shared = self._shared.get(keyword)
        if self.described != self.frames:
            return [shared] * self.frames
        return [one.get(keyword, shared) for one in self._each]

    def times_ms(self) -> tuple[tuple[float, ...] | None, str]:
        """Give the times of all frames from the first, and the attribute they come from."""
        for keyword in _TIMES:
            times = _since_first(self.values(keyword))
            if times is not None:
                return times, keyword
        return None, ""


def differing(dataset: Dataset, *, frames: int) -> dict[str, tuple[Any, ...]]:
    """Give the geometry that is not the same on all frames of an enhanced object.

    Returns
    -------
    dict
        By keyword, one value per frame, ``None`` where a frame is not told.
    """
    if _PER_FRAME not in dataset:
        return {}
    with captured_warnings():
        try:
            groups = FunctionalGroups(dataset, frames=frames)
            found = {name: groups.values(name) for name in GEOMETRY}
        except Exception:  # noqa: BLE001  `unfolded` has said that they cannot be read
            return {}
    uneven = {name: tuple(values) for name, values in found.items() if _differ(values)}
    for triple in TRIPLES:
        if set(triple) & set(uneven):
            uneven |= {name: tuple(found[name]) for name in triple}
    # what stands in for the distance to the patient gives way to the distance itself
    if "DistanceSourceToPatient" in dataset or any(found["DistanceSourceToPatient"]):
        uneven.pop("DistanceSourceToIsocenter", None)
    return uneven


def calibration_frames(dataset: Dataset, *, frames: int) -> tuple[int, ...]:
    """List the frames of an enhanced object, from 0, that were used to calibrate (0050,0004)."""
    if _SHARED not in dataset and _PER_FRAME not in dataset:
        return ()
    with captured_warnings():
        try:
            values = FunctionalGroups(dataset, frames=frames).values(_CALIBRATION_IMAGE)
        except Exception:  # noqa: BLE001  `unfolded` has said that they cannot be read
            return ()
    return tuple(number for number, value in enumerate(values) if value == "YES")


def _differ(values: Sequence[Any]) -> bool:
    return any(value != values[0] for value in values)


def unfolded(dataset: Dataset, warnings: list[str], *, frames: int) -> Dataset:
    """Give a dataset in which what the functional groups say stands as plain attributes.

    Parameters
    ----------
    dataset
        The parsed dataset; handed back as it is if it has no functional groups.
    warnings
        Where sentences about what differs or is missing go.
    frames
        Number of frames of the loop.
    """
    if _SHARED not in dataset and _PER_FRAME not in dataset:
        return dataset
    notes = Attributes(dataset, warnings)
    with captured_warnings():
        try:
            return _unfolded(dataset, FunctionalGroups(dataset, frames=frames), notes)
        except Exception as error:  # noqa: BLE001  the parser meets arbitrary bytes here
            notes.warn(
                f"The functional groups cannot be read ({type(error).__name__}) and are not used."
            )
            return dataset


def _unfolded(dataset: Dataset, groups: FunctionalGroups, notes: Attributes) -> Dataset:
    frames = groups.frames
    if groups.described not in (0, frames):
        notes.warn(
            f"The functional groups describe {groups.described} frames of {frames}; only what all "
            "frames share is used."
        )
    plain = Dataset(dataset)
    for keyword in _SAME_FOR_ALL:
        _put_common(plain, keyword, groups.values(keyword), notes)
    for keyword in _OF_THE_FIRST:
        _put(plain, keyword, groups.values(keyword)[0])
    _put_angles(plain, groups, notes)
    _stand_in_for_patient(plain, notes)
    return plain


def acquisition_times_ms(dataset: Dataset, *, frames: int) -> tuple[tuple[float, ...] | None, str]:
    """Read when each frame of an enhanced object was acquired, in ms from the first.

    Returns
    -------
    tuple
        The times, or ``None``, and the attribute they come from.
    """
    if _PER_FRAME not in dataset:
        return None, ""
    with captured_warnings():
        try:
            return FunctionalGroups(dataset, frames=frames).times_ms()
        except Exception:  # noqa: BLE001  `unfolded` has said that they cannot be read
            return None, ""


def _items(dataset: Dataset, keyword: str) -> Sequence[Dataset]:
    return dataset.get(keyword) or ()


def _said(group: Dataset | None) -> dict[str, Any]:
    """Collect what the macros of one group say."""
    return dict(_pairs(group)) if group is not None else {}


def _pairs(group: Dataset) -> Iterator[tuple[str, Any]]:
    for macro in group:
        if macro.VR != "SQ" or not macro.value:
            continue
        for element in macro.value[0]:
            if element.keyword in _WANTED and not element.is_empty:
                yield element.keyword, element.value


def _put(plain: Dataset, keyword: str, value: Any) -> None:
    if value is not None and keyword not in plain:
        setattr(plain, keyword, value)


def _put_common(plain: Dataset, keyword: str, values: list[Any], notes: Attributes) -> None:
    if not _differ(values):
        _put(plain, keyword, values[0])
    elif keyword in GEOMETRY:
        notes.warn(f"{keyword} differs from frame to frame: a scale holds on its own frames only.")
    else:
        notes.warn(f"{keyword} differs from frame to frame and is not used.")


def _put_angles(plain: Dataset, groups: FunctionalGroups, notes: Attributes) -> None:
    moves = known = False
    for keyword in _ANGLES:
        values = groups.values(keyword)
        if any(value is None for value in values):
            if any(value is not None for value in values):
                notes.warn(f"{keyword} is missing on some frames and is not used.")
            continue
        known = True
        _put(plain, keyword, values[0])
        if any(value != values[0] for value in values):
            moves = True
            offsets = [float(value) - float(values[0]) for value in values]
            _put(plain, f"{keyword}Increment", [round(offset, 6) for offset in offsets])
    if known:
        _put(plain, "PositionerMotion", "DYNAMIC" if moves else "STATIC")


def _stand_in_for_patient(plain: Dataset, notes: Attributes) -> None:
    """Take the isocentre where the distance to the patient is not told; classic headers do too."""
    isocentre = plain.get("DistanceSourceToIsocenter")
    if isocentre is not None and "DistanceSourceToPatient" not in plain:
        plain.DistanceSourceToPatient = float(isocentre)
        notes.warn("DistanceSourceToPatient is absent; DistanceSourceToIsocenter stands in for it.")


def _since_first(values: list[Any]) -> tuple[float, ...] | None:
    """Bring date-times to ms from the first; ``None`` if one is missing or unreadable."""
    try:
        moments = [DT(value) for value in values]
        steps = [moment - moments[0] for moment in moments]
    except (TypeError, ValueError):
        return None
    return tuple(step.total_seconds() * 1000.0 for step in steps)
