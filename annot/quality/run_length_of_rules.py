"""The mean run length of a chart judged by the run rules: a finite Markov chain.

What the rules need of the past is which of the last two points lay beyond two sigma, which of the
last four beyond one sigma, and how long the run on one side is. Method: Champ and Woodall 1987,
Technometrics 29:393 (from memory).
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from annot.quality.run_rules import WINDOWS

FloatArray = NDArray[np.float64]
# zones of a point, from below: beyond three sigma, then two, one, centre, … mirrored
ZONES = (-3, -2, -1, 0, 1, 2)  # a point of zone z lies between z and z + 1 sigma
Past = tuple[tuple[tuple[bool, ...], ...], tuple[tuple[bool, ...], ...]]
SIGNAL = -1


def run_length_of_rules(shift: float, *, spread: float = 1.0) -> float:
    """Return the mean run length of single values under limits at 3 sigma and the run rules.

    Parameters
    ----------
    shift : float
        Of the process from the chart's centre, in true sigma.
    spread : float
        The chart's sigma over the true one.
    """
    from scipy.special import ndtr

    edges = ndtr(np.arange(-3, 4) * spread - shift)
    chance = np.diff(edges)
    table = _transitions()
    move = np.zeros((len(table), len(table)))
    for zone, probability in enumerate(chance):
        goes_on = table[:, zone] != SIGNAL
        np.add.at(move, (np.flatnonzero(goes_on), table[goes_on, zone]), probability)
    lengths = np.linalg.solve(np.eye(len(table)) - move, np.ones(len(table)))
    return float(lengths[0])


@cache
def _transitions() -> NDArray[np.intp]:
    """Return the next state of every state and zone, `SIGNAL` where a rule speaks."""
    empty = tuple((False,) * (window - 1) for _, window, _, _ in WINDOWS)
    start: Past = (empty, empty)
    number, waiting = {start: 0}, [start]
    table: list[list[int]] = []
    while len(table) < len(waiting):
        row = []
        for zone in ZONES:
            past = _after(waiting[len(table)], zone)
            if past is None:
                row.append(SIGNAL)
                continue
            if past not in number:
                number[past] = len(waiting)
                waiting.append(past)
            row.append(number[past])
        table.append(row)
    return _merged(np.array(table))


def _merged(table: NDArray[np.intp]) -> NDArray[np.intp]:
    """Merge states whose futures are the same, by refining classes until none splits."""
    label = np.zeros(len(table), dtype=np.intp)
    count = 0
    while label.max() + 1 > count:
        count = label.max() + 1
        future = np.where(table == SIGNAL, SIGNAL, label[table])
        label = np.unique(np.column_stack([label, future]), axis=0, return_inverse=True)[1].ravel()
    first = np.unique(label, return_index=True)[1]
    merged = np.where(table[first] == SIGNAL, SIGNAL, label[table[first]])
    # the start keeps the number 0
    start = label[0]
    swap = np.arange(count)
    swap[[0, start]] = [start, 0]
    return np.asarray(np.where(merged == SIGNAL, SIGNAL, swap[merged])[swap])


def _after(past: Past, zone: int) -> Past | None:
    """Return what is remembered after a point of a zone; None where a rule speaks."""
    sides = []
    for side, seen in zip((1, -1), past, strict=True):
        away = zone if side == 1 else -zone - 1
        kept = []
        for (needed, _, sigmas, _), earlier in zip(WINDOWS, seen, strict=True):
            hit = away >= sigmas
            if hit and sum(earlier) + 1 >= needed:
                return None
            kept.append((*earlier[1:], hit))
        sides.append(tuple(kept))
    return sides[0], sides[1]
