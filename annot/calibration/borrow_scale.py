"""A scale made on one loop, used on another: only where it holds there, or overruled."""

from dataclasses import replace

from annot.calibration.depth import depth_ratio
from annot.calibration.frame_hold import HeldFrames
from annot.calibration.header_scale import FrameScales
from annot.calibration.identity import geometry_key, short_hash
from annot.calibration.make_scale import LoopScale, MadeScale, compared
from annot.calibration.region_scales import RegionScales
from annot.calibration.request import BorrowedRequest
from annot.calibration.scale import NoScale, PixelScale, pair_of_scales
from annot.loops import LoopHeader
from annot.uncertainty import MeasurementResult, propagate

_KIND = {RegionScales: "an ultrasound", FrameScales: "a moving loop's"}


def borrow_scale(
    made: MadeScale, lender: LoopHeader, borrower: LoopHeader, request: BorrowedRequest
) -> LoopScale:
    """Return a scale made on one loop for use on another of the same geometry.

    A different geometry is refused unless the request overrules with a reason. Angles alone may
    differ if the request states depth anew: how much nearer to the source the anatomy lies, along
    the borrower's beam, than the object lay along the lender's.

    Raises
    ------
    InputError
        If the depth that is stated reaches the source.
    """
    scale = made.scale
    if isinstance(scale, NoScale):
        return scale
    if isinstance(scale, RegionScales | FrameScales):
        return NoScale(
            reason=(
                f"{_KIND[type(scale)]} header scale belongs to its own loop; use this loop's header"
            )
        )
    # angles act through depth alone, so a depth stated anew makes up for them
    angles = not request.placing.states_depth
    varies = borrower.xray is not None and borrower.xray.varies
    differences = scale.geometry.differences(geometry_key(borrower), angles=angles)
    if differences and not varies and not request.placing.overrule:
        return NoScale(reason=_refusal(lender, scale, borrower, differences))
    if request.placing.states_depth:
        scale = _at_new_depth(scale, borrower, request)
    used = replace(
        scale,
        frames=_held(scale, borrower, request) if varies else None,
        overruled="; ".join(
            dict.fromkeys(one for one in (scale.overruled, request.placing.overrule) if one)
        ),
        warnings=(
            *scale.warnings,
            *_geometry_warnings(scale, lender, differences, varies=varies, request=request),
            *_motion_warnings(scale, lender, borrower),
        ),
    )
    # where the borrower moves, each frame has another header scale: none stands for all
    return used if varies else compared(MadeScale(scale=used), borrower).scale


def _refusal(
    lender: LoopHeader, scale: PixelScale, borrower: LoopHeader, differences: tuple[str, ...]
) -> str:
    text = f"the scale of {lender.path.name} does not hold here: {', '.join(differences)} differ"
    if scale.geometry.differences(geometry_key(borrower), angles=False):
        return text
    return (
        f"{text}; state how far the anatomy lies off the object in depth in this view "
        "(depth_offset_mm) to use it at other angles"
    )


def _held(scale: PixelScale, borrower: LoopHeader, request: BorrowedRequest) -> HeldFrames | None:
    """Return on which frames of a borrower that moves the scale holds; all, if overruled."""
    if request.placing.overrule:
        return None
    return HeldFrames(
        header=borrower, reference=scale.geometry, angles=not request.placing.states_depth
    )


def _at_new_depth(scale: PixelScale, borrower: LoopHeader, request: BorrowedRequest) -> PixelScale:
    """Take the lender's step in depth out and put this loop's in."""
    key = f"depth-{short_hash(borrower.sop_instance_uid, request.placing)}"
    depth = depth_ratio(borrower, request.placing, key=key)
    base = scale.at_object or scale.row

    def here(of_object: MeasurementResult) -> MeasurementResult:
        both = [of_object, depth.quantity]
        return propagate(lambda size, ratio: size * ratio, both, unit="mm/px")

    row, column = pair_of_scales(here(base), scale.column.value / scale.row.value)
    if scale.column_at_object is not None:
        # an object that showed both pitches has an uncertainty of its own for each
        column = here(scale.column_at_object)
    return replace(
        scale,
        row=row,
        column=column,
        depth_group=depth.group,
        warnings=(*scale.warnings, *depth.warnings),
    )


def _geometry_warnings(
    scale: PixelScale,
    lender: LoopHeader,
    differences: tuple[str, ...],
    *,
    varies: bool,
    request: BorrowedRequest,
) -> tuple[str, ...]:
    if request.placing.overrule and (differences or varies):
        what = ", ".join(differences) or "geometry that changes from frame to frame"
        return (f"scale overruled although {what} differ",)
    if scale.geometry.is_silent:
        silent = "neither header states its geometry, so nothing shows that the scale holds here"
        return (f"scale of {lender.path.name} borrowed: {silent}",)
    return ()


def _motion_warnings(
    scale: PixelScale, lender: LoopHeader, borrower: LoopHeader
) -> tuple[str, ...]:
    """Say how table and stand moved between the loops: depth may have changed with them."""
    texts = []
    turned = scale.geometry.turned_deg(geometry_key(borrower))
    if turned:
        texts.append(
            f"the positioner's angles are not those of {lender.path.name} "
            f"({scale.geometry.angles_deg} against {geometry_key(borrower).angles_deg}): check the "
            "stated difference in depth"
        )
    there, here = lender.xray, borrower.xray
    if there is None or here is None:
        return tuple(texts)
    moves = {
        "table": (there.table_mm, here.table_mm),
        "height of the table": (there.table_height_mm, here.table_height_mm),
    }
    texts += [
        f"the {name} is not that of {lender.path.name} ({one} against {other} mm): the depth of "
        "the anatomy may have changed"
        for name, (one, other) in moves.items()
        if one != other
    ]
    return tuple(texts)
