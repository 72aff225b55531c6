"""The spacing of radio-opaque bands along a roughly traced wire or catheter, in pixels."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import MARK_CENTRE_PX
from annot.calibration.regular_row import (
    FloatArray,
    RegularRow,
    Spacing,
    find_row,
    spacing_of,
)
from annot.calibration.scale import NoScale
from annot.calibration.spot_fit import SpotFit, SpotShape, SpotSite, fit_spot
from annot.geometry import PixelPoint, along, length_px, normals_of, profiles

SEARCH_PX = 10.0  # how far from the trace a band is looked for
BAND_BLUR_PX = 1.5  # of the matched filter that finds bands
BAND_REACH_PX = 12.0  # half-side of the patch in which a band's centre is fitted
USUAL_BAND = SpotShape(length_px=6.0, width_px=6.0)
LEAST_DEPTH_TO_NOISE = 2.0
ODD_DEPTH = 2.5  # times the usual depth, or its inverse: no band of this row
FARTHEST_MOVE_PX = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BandFit:
    """What was found.

    Attributes
    ----------
    centres : tuple of PixelPoint
        Bands in order along the path.
    missing : int
        Places inside the row at which no band was seen.
    set_aside : tuple of PixelPoint
        Dark spots on the path that do not belong to the row.
    path : tuple of PixelPoint
        The curve through the bands, for drawing.
    """

    spacing: Spacing
    centres: tuple[PixelPoint, ...]
    missing: int
    set_aside: tuple[PixelPoint, ...]
    path: tuple[PixelPoint, ...]


def fit_bands(
    frame: NDArray[np.generic],
    trace: tuple[PixelPoint, ...],
    *,
    bands: int | None,
    u_gap_rel: float,
    aspect: float = 1.0,
) -> BandFit | NoScale:
    """Find bands at one spacing along a rough trace.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    trace : tuple of PixelPoint
        From beyond the first band to beyond the last, within `SEARCH_PX` of the wire.
    bands : int or None
        How many a person counts there, missing ones of the row not included.
    u_gap_rel : float
        Relative standard uncertainty of one gap, independent of the others.
    aspect : float
        Width of a pixel over its height; the spacing is in pixels of the row pitch.

    Returns
    -------
    BandFit, or NoScale with the reason.
    """
    fault = _fault_of_trace(frame, trace)
    if fault:
        return NoScale(reason=fault)
    spots = _spots(frame, trace)
    if len(spots) < 2:
        return NoScale(reason=f"{_found(len(spots))} along the trace; at least 2 are needed")
    centres = np.array([spot.centre for spot in spots])
    position, path = _arc(centres * np.array([1.0, aspect]))
    row = find_row(position, count=bands)
    counted = _fault_of_count(row, len(spots), bands)
    if row is None or counted:
        return NoScale(reason=counted)
    if len(row.chosen) < len(spots):
        # without what was set aside the curve through the bands is another one
        position, path = _arc(centres[row.chosen] * np.array([1.0, aspect]))
    else:
        position = position[row.chosen]
    own = np.array([spots[index].u_px for index in row.chosen])
    u_px = np.hypot(own, MARK_CENTRE_PX.value / np.sqrt(3))
    left_out = [index for index in range(len(spots)) if index not in row.chosen]
    return BandFit(
        spacing=spacing_of(position, u_px, row.place, u_gap_rel=u_gap_rel),
        centres=tuple(spots[index].centre for index in row.chosen),
        missing=row.length - len(row.chosen),
        set_aside=tuple(spots[index].centre for index in left_out),
        path=tuple(PixelPoint(float(r), float(c / aspect)) for r, c in path),
    )


def _fault_of_trace(frame: NDArray[np.generic], trace: tuple[PixelPoint, ...]) -> str:
    rows, columns = frame.shape
    outside = [point for point in trace if not point.is_inside(rows, columns)]
    if outside:
        return f"the trace leaves the image at row {outside[0].row:g}, column {outside[0].column:g}"
    if length_px(trace) < 2 * BAND_REACH_PX:
        return (
            f"the trace is {length_px(trace):.0f} px long; trace the wire from beyond the first "
            "band to beyond the last"
        )
    return ""


def _found(count: int) -> str:
    return "no band was found" if count == 0 else f"only {count} band was found"


def _fault_of_count(row: RegularRow | None, spots: int, bands: int | None) -> str:
    """Return why a row of bands must not be used, empty when it may."""
    if row is None and bands is None:
        return "the bands found along the trace lie too close together to count"
    if row is None:
        return (
            f"{spots} bands were found, and no {bands} of them stand at one spacing as stated: "
            "count them again, or trace the wire from just beyond the first band to just beyond "
            "the last"
        )
    if bands is None and len(row.chosen) < 3:
        return (
            "only 2 bands were found, which do not show that none lies between them: state how "
            "many bands the traced piece has, or trace a longer one"
        )
    if row.doubtful:
        return (
            "the bands found stand at one spacing in more than one way, since some are missing or "
            "something else lies on the wire: state how many bands the traced piece has"
        )
    return ""


def _spots(frame: NDArray[np.generic], trace: tuple[PixelPoint, ...]) -> list[SpotFit]:
    """Return the band-like spots along a trace, in order."""
    places, tangents = _candidates(frame, trace)
    shape, spots = USUAL_BAND, []
    for place, tangent in zip(places, tangents, strict=True):
        site = SpotSite(
            centre=PixelPoint(float(place[0]), float(place[1])),
            first=(float(tangent[0]), float(tangent[1])),
            second=(float(-tangent[1]), float(tangent[0])),
            wires=(True, False),
            reach_px=BAND_REACH_PX,
        )
        spot = fit_spot(frame, site, shape)
        if spot is None or spot.depth_to_noise < LEAST_DEPTH_TO_NOISE:
            continue
        if np.hypot(*np.subtract(spot.centre, place)) <= FARTHEST_MOVE_PX:
            spots.append(spot)
    if not spots:
        return []
    usual = float(np.median([spot.depth for spot in spots]))
    return [spot for spot in spots if usual / ODD_DEPTH <= spot.depth <= usual * ODD_DEPTH]


def _candidates(
    frame: NDArray[np.generic], trace: tuple[PixelPoint, ...]
) -> tuple[FloatArray, FloatArray]:
    """Return rough places of dark spots along a trace and the trace's direction there.

    Spots stand out from the wire they sit on after what is smooth along the trace is taken off.
    """
    from scipy.ndimage import gaussian_filter, gaussian_filter1d
    from scipy.signal import find_peaks

    stations = np.arange(0.0, length_px(trace), 1.0)
    spine, tangents = along(trace, stations)
    offset = np.arange(-SEARCH_PX, SEARCH_PX + 0.5, 1.0)
    raw = profiles(frame, spine, normals_of(tangents), offset)
    dark = -np.log(np.maximum(np.nan_to_num(raw, nan=float(np.nanmedian(raw))), 0.5))
    smooth = gaussian_filter(dark, BAND_BLUR_PX)
    # the wider average is taken along the trace only: across it the wire would ring
    spotty = smooth - gaussian_filter1d(smooth, 5 * BAND_BLUR_PX, axis=0)
    best = spotty.max(axis=1)
    noise = 1.4826 * float(np.median(np.abs(best - np.median(best)))) + 1e-9
    peaks, facts = find_peaks(np.pad(best, 1), prominence=3 * noise, distance=4)
    if not len(peaks):
        return np.empty((0, 2)), np.empty((0, 2))
    strength = facts["prominences"]
    usual = float(np.median(np.sort(strength)[-3:]))
    peaks = peaks[strength >= 0.25 * usual] - 1
    # a band is often no darker than its shaft but wider: both its ends stand out, not its middle
    weight = np.maximum(spotty[peaks] - 0.5 * best[peaks][:, None], 0.0)
    beside = weight @ offset / weight.sum(axis=1)
    return spine[peaks] + beside[:, None] * normals_of(tangents)[peaks], tangents[peaks]


def _arc(centres: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return each centre's distance along a smooth curve through all, and that curve.

    A cubic spline by chord length; two centres alone are joined straight.
    """
    from scipy.interpolate import CubicSpline

    chord = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(centres, axis=0).T))])
    if len(centres) < 3:
        return chord, centres
    curve = CubicSpline(chord, centres, bc_type="not-a-knot")
    fine = np.concatenate(
        [np.linspace(a, b, 16, endpoint=False) for a, b in pairwise(chord)] + [chord[-1:]]
    )
    path = curve(fine)
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    return steps[::16], path
