"""A caliper's end moved to the wall's edge: proposed with its shift, never applied in silence."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement.caliper import Caliper
from annot.measurement.echo_edge import echo_edge
from annot.measurement.edge_fit import Edge, NoEdge, profile_through
from annot.measurement.placement import ECHO_EDGE_PX, END_PX, PIXEL_HALF_WIDTH, XRAY_EDGE_PX
from annot.measurement.xray_edge import xray_edge

FARTHEST_PX = 8.0
LEAST_CONTRAST = 5.0
LARGEST_U_PX = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Refinement:
    """Where an end would lie on the wall's edge.

    Attributes
    ----------
    end : int
        Index of the point, 0 or the last.
    shift_px : float
        Along the caliper, outward positive: what the edge would add at this end.
    point : PixelPoint
        The place itself.
    u_px : float
        Standard uncertainty of the place along the caliper, the model's allowance included.
    contrast_to_noise : float
        How clearly the edge stands out.
    """

    end: int
    shift_px: float
    point: PixelPoint
    u_px: float
    contrast_to_noise: float

    @property
    def within_a_pixel(self) -> float:
        """Confidence: probability that the edge lies within one pixel of the place found."""
        return math.erf(1.0 / (self.u_px * math.sqrt(2.0)))


def refine_end(
    frame: NDArray[np.generic],
    caliper: Caliper,
    end: int,
    *,
    modality: str,
    full_scale: float = 255.0,
) -> Refinement | NoEdge:
    """Look for the wall's edge along a caliper near one of its ends.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Grey values; of X-ray proportional to intensity, of ultrasound log-compressed.
    end : int
        0 for the first end, −1 or the last index for the other.
    modality : str
        Ultrasound has bright walls (inner edge), X-ray a contrast-filled hollow: two models.
    full_scale : float
        Grey value of white, for ultrasound.

    Returns
    -------
    Refinement, or NoEdge with the reason; the caliper stays as it is.

    Raises
    ------
    InputError
        If the caliper is no length or has no such end.
    """
    index = _index(caliper, end)
    here = caliper.points[index]
    inner = caliper.points[1 if index == 0 else index - 1]
    profile = profile_through(frame, here, inner)
    if isinstance(profile, NoEdge):
        return profile
    if modality == "US":
        edge, allowance = echo_edge(profile, full_scale=full_scale), ECHO_EDGE_PX
    else:
        half = max(caliper.length_px / 2.0, 4.0)
        edge, allowance = xray_edge(profile, half_width_px=half), XRAY_EDGE_PX
    if isinstance(edge, NoEdge):
        return edge
    u_px = math.hypot(edge.u_fit_px, allowance.value)
    refused = _refused(edge, u_px)
    # not `or`: a refusal is false in a condition
    return _refinement(index, here, inner, edge, u_px) if refused is None else refused


def _index(caliper: Caliper, end: int) -> int:
    last = len(caliper.points) - 1
    if caliper.measurand.kind != "length" or end not in (0, -1, last):
        raise InputError(
            f"Caliper {caliper.key}: only the two ends of a length can be refined, and {end} is "
            "none of them."
        )
    if end == 0 and caliper.measurand.first_end != "wall":
        raise InputError(
            f"Caliper {caliper.key}: the first end of a {caliper.measurand.title.lower()} lies on "
            "no wall, so no edge can refine it."
        )
    return 0 if end == 0 else last


def _refused(edge: Edge, u_px: float) -> NoEdge | None:
    if abs(edge.at_px) > FARTHEST_PX:
        return NoEdge(
            reason=f"no edge within {FARTHEST_PX:g} px of the end: the nearest is "
            f"{abs(edge.at_px):.1f} px away"
        )
    if edge.contrast_to_noise < LEAST_CONTRAST:
        return NoEdge(
            reason=f"the edge is too faint: {edge.contrast_to_noise:.1f} times the noise, "
            f"{LEAST_CONTRAST:g} are needed"
        )
    if u_px > LARGEST_U_PX:
        return NoEdge(reason=f"the edge is found to ±{u_px:.1f} px only (u)")
    return None


def _refinement(
    index: int, here: PixelPoint, inner: PixelPoint, edge: Edge, u_px: float
) -> Refinement:
    run = (here.row - inner.row, here.column - inner.column)
    length = math.hypot(*run)
    point = PixelPoint(
        here.row + edge.at_px * run[0] / length, here.column + edge.at_px * run[1] / length
    )
    return Refinement(
        end=index,
        shift_px=edge.at_px,
        point=point,
        u_px=u_px,
        contrast_to_noise=edge.contrast_to_noise,
    )


def with_refinements(caliper: Caliper, found: Mapping[int, Refinement]) -> Caliper:
    """Return the caliper with ends a person accepted moved to their edges.

    Its ends then count as good as the fits are; an end that stays as drawn keeps its own
    placing and pixel grid. A budget has one figure for both ends, so it is their root mean
    square, which gives a straight caliper the same uncertainty.

    Raises
    ------
    InputError
        If an end stays as drawn and its placing is stated in mm, which no pixel figure can hold.
    """
    if not found:
        return caliper
    if caliper.u_end_mm is not None and not {0, len(caliper.points) - 1} <= set(found):
        raise InputError(
            f"Caliper {caliper.key}: the end that stays as drawn is placed to "
            f"{caliper.u_end_mm:g} mm, and its refined one to pixels: state u_end_px instead."
        )
    points = list(caliper.points)
    for index, one in found.items():
        points[index] = one.point
    drawn = caliper.u_end_px or END_PX.value
    variances = [
        found[index].u_px ** 2 if index in found else drawn**2 + PIXEL_HALF_WIDTH.value**2 / 3.0
        for index in (0, len(points) - 1)
    ]
    return replace(
        caliper,
        points=tuple(points),
        origin="refined",
        u_end_px=math.sqrt(sum(variances) / 2.0),
        u_end_mm=None,
    )
