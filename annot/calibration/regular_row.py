"""A row of marks at one spacing: which of the candidates belong to it, and the spacing in pixels.

Marks may be missing, and others may lie in between; neither may shift the count of spacings.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]
LEAST_SPACING_PX = 5.0
OFF_PLACE = 0.15  # of the spacing: farther from its place a candidate is no mark of the row


@dataclass(frozen=True, slots=True, kw_only=True)
class RegularRow:
    """The marks of a row.

    Attributes
    ----------
    chosen : array of int, shape (k,)
        Which candidates belong to it, in order.
    place : array of int, shape (k,)
        Their places in the row from 0; a number left out is a mark that was not seen.
    doubtful : bool
        Whether another spacing explains the candidates as well.
    """

    chosen: IndexArray
    place: IndexArray
    doubtful: bool = False

    @property
    def length(self) -> int:
        """Places from the first mark seen to the last one, missing ones included."""
        return int(self.place[-1]) + 1

    @property
    def score(self) -> int:
        """Marks seen, less places at which none was."""
        return 2 * len(self.chosen) - self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """The spacing of a row.

    Attributes
    ----------
    spacing_px : float
    u_marks_px : float
        From the marks' own scatter; widened where the gaps scatter more than everything stated
        explains, and then with `dof` of the residuals.
    u_gaps_px : float
        From gaps that are each a little off the stated spacing, independently.
    growth, u_growth : float
        By which fraction a gap is larger than the one before it.
    """

    spacing_px: float
    u_marks_px: float
    u_gaps_px: float
    dof: float
    growth: float
    u_growth: float


def find_row(position_px: FloatArray, *, count: int | None = None) -> RegularRow | None:
    """Return the regular row that explains most of the candidates along a path.

    Parameters
    ----------
    position_px : array, shape (n,), rising
        Distances along the path.
    count : int or None
        How many marks, or places, somebody counts; rows of another count are not looked at.

    Returns
    -------
    RegularRow, or None where there is none. A place without a mark counts against a row, so that
    half the true spacing does not win.
    """
    rows = [
        row
        for row in _rows(position_px)
        if len(row[0].chosen) > 1 and count in {None, len(row[0].chosen), row[0].length}
    ]
    if not rows:
        return None
    best, spacing, _ = max(rows, key=lambda row: (row[0].score, len(row[0].chosen), -row[2]))
    rivals = [
        row
        for row, other, _ in rows
        if row.score >= best.score and not 0.8 < other / spacing < 1.25
    ]
    return replace(best, doubtful=bool(rivals))


def _rows(position_px: FloatArray) -> list[tuple[RegularRow, float, float]]:
    """Return a row, its spacing and its misfit for every pair of candidates, 1 to 3 places apart.

    In a row that is worth counting, some two marks seen are no farther apart.
    """
    gaps = [
        (first, float(position_px[second] - position_px[first]) / apart)
        for first in range(len(position_px))
        for second in range(first + 1, len(position_px))
        for apart in (1, 2, 3)
    ]
    return [_row_at(position_px, first, gap) for first, gap in gaps if gap >= LEAST_SPACING_PX]


def _row_at(position_px: FloatArray, home: int, spacing: float) -> tuple[RegularRow, float, float]:
    """Return the candidates on the places of one start and spacing, one each, and the misfit.

    Start and spacing are found again from what lies on them: one gap alone carries a long row
    astray.
    """
    start = float(position_px[home])
    for _ in range(3):
        members, places, misfit = _members(position_px, start, spacing, home)
        if len(members) < 2:
            break
        spacing, start = (float(one) for one in np.polyfit(places, position_px[members], 1))
    return RegularRow(chosen=members, place=places - places[0]), spacing, misfit


def _members(
    position_px: FloatArray, start: float, spacing: float, home: int
) -> tuple[IndexArray, IndexArray, float]:
    step = (position_px - start) / spacing
    place = np.round(step).astype(int)
    miss = np.abs(step - place)
    chosen: dict[int, int] = {}
    for index in np.argsort(miss, kind="stable"):
        if miss[index] <= OFF_PLACE:
            chosen.setdefault(int(place[index]), int(index))
    places = np.array(sorted(chosen), dtype=int)
    members = np.array([chosen[int(one)] for one in places], dtype=int)
    # a row ends where two places running are empty: what lies beyond is something else
    group = np.cumsum(np.diff(places, prepend=places[:1]) > 2)
    own = group == group[np.argmin(np.abs(places - place[home]))] if len(places) else group > 0
    return members[own], places[own], float(np.mean(miss[members[own]])) if own.any() else np.inf


def spacing_of(
    position_px: FloatArray,
    u_px: FloatArray,
    place: IndexArray,
    *,
    u_gap_rel: float,
    alternating: bool = False,
) -> Spacing:
    """Return the spacing of a row by generalised least squares.

    Parameters
    ----------
    position_px, u_px : array, shape (k,), k >= 2
        Distances of the marks along the path and their standard uncertainties.
    place : array of int, shape (k,)
        Their places in the row.
    u_gap_rel : float
        Relative standard uncertainty of one gap, independent of the next; their sum makes the
        true places a random walk about the regular ones.
    alternating : bool
        Whether every other mark may be off by one common shift, as edges of strips are that are
        not quite as wide as their gaps, or that glare makes look so.
    """
    columns = [np.ones(len(place)), place]
    if alternating and len(place) > 3:
        columns.append((-1.0) ** place)
    design = np.stack(columns, axis=1).astype(float)
    coarse = float(np.polyfit(place, position_px, 1)[0])
    marks = np.diag(u_px**2)
    gaps = (u_gap_rel * coarse) ** 2 * np.minimum.outer(place, place)
    whole = np.asarray(np.linalg.inv(marks + gaps), dtype=np.float64)
    solve = np.linalg.solve(design.T @ whole @ design, design.T @ whole)
    weight = solve[1]
    growth, u_growth = _growth(position_px, place, whole)
    # an even change of the gaps is reported on its own: it is tilt, not scatter
    bent = np.column_stack([design, place.astype(float) ** 2]) if len(place) > 3 else design
    normal = np.linalg.pinv(bent.T @ whole @ bent)
    residual = position_px - bent @ (normal @ (bent.T @ whole @ position_px))
    freedom = max(len(place) - bent.shape[1], 0)
    surplus = float(residual @ whole @ residual) / freedom if freedom else 0.0
    u_marks = float(np.sqrt(weight @ marks @ weight))
    u_gaps = float(np.sqrt(weight @ gaps @ weight))
    if surplus > 1:
        # what nothing stated explains is put to the marks: it is seen, so it is Type A
        u_marks = float(np.sqrt((u_marks**2 + u_gaps**2) * surplus - u_gaps**2))
    return Spacing(
        spacing_px=float(weight @ position_px),
        u_marks_px=u_marks,
        u_gaps_px=u_gaps,
        dof=float(freedom) if surplus > 1 else np.inf,
        growth=growth,
        u_growth=u_growth,
    )


def _growth(position_px: FloatArray, place: IndexArray, whole: FloatArray) -> tuple[float, float]:
    """Return the fraction by which each gap exceeds the one before; (0, inf) below three marks."""
    if len(place) < 3:
        return 0.0, np.inf
    middle = place - place.mean()
    design = np.stack([np.ones(len(place)), middle, middle**2 / 2], axis=1)
    normal = np.linalg.inv(design.T @ whole @ design)
    _, spacing, change = normal @ design.T @ whole @ position_px
    return float(change / spacing), float(np.sqrt(normal[2, 2]) / spacing)
