"""Pictures of agreement: differences against means, with bias and limits and their intervals."""

import io
import textwrap
from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from annot.agreement import LimitsOfAgreement
from annot.exports.figures import FIRST, REFERENCE, SECOND
from annot.vocabulary import CAUTION

FAINT = "#888888"
WIDTH_IN, HEIGHT_IN = 8.5, 4.4


class Compared(Protocol):
    """What a picture needs of an agreement."""

    @property
    def quantity(self) -> str: ...  # noqa: D102 - told by its name
    @property
    def unit(self) -> str: ...  # noqa: D102 - told by its name
    @property
    def first(self) -> str: ...  # noqa: D102 - told by its name
    @property
    def second(self) -> str: ...  # noqa: D102 - told by its name
    @property
    def limits(self) -> LimitsOfAgreement: ...  # noqa: D102 - told by its name
    @property
    def pairs(self) -> tuple[tuple[float, float], ...]: ...  # noqa: D102 - told by its name


def agreement_png(found: Sequence[Compared]) -> bytes:
    """Return a PNG with one panel for each comparison."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(
        figsize=(WIDTH_IN, HEIGHT_IN * len(found) + 0.6), facecolor="white", layout="constrained"
    )
    FigureCanvasAgg(figure)
    for index, one in enumerate(found):
        _panel(figure.add_subplot(len(found), 1, index + 1), one)
    figure.supxlabel("\n".join(textwrap.wrap(CAUTION, 120)), color=FAINT, fontsize=8)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110)
    return stream.getvalue()


def _panel(axes: Any, one: Compared) -> None:
    table, limits = np.array(one.pairs), one.limits
    axes.scatter(table.mean(axis=1), table[:, 0] - table[:, 1], s=26, color=FIRST, zorder=3)
    lines = (
        ("bias", limits.bias, SECOND, "-"),
        ("lower limit", limits.lower, REFERENCE, "--"),
        ("upper limit", limits.upper, REFERENCE, "--"),
    )
    for name, line, colour, style in lines:
        axes.axhspan(line.low, line.high, color=colour, alpha=0.12, linewidth=0)
        axes.axhline(line.value, color=colour, linestyle=style, linewidth=1.4)
        axes.annotate(
            f"{name} {line.value:+.2f} ({line.low:+.2f} to {line.high:+.2f})",
            (1.0, line.value),
            xycoords=("axes fraction", "data"),
            xytext=(-4, 3),
            textcoords="offset points",
            ha="right",
            fontsize=9,
        )
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    axes.margins(y=0.18)
    axes.set_title(
        f"{one.quantity.replace('_', ' ')}: {one.first} − {one.second}, {len(one.pairs)} cases",
        loc="left",
        fontsize=11,
    )
    axes.set_xlabel(f"mean of both, {one.unit}")
    axes.set_ylabel(f"difference, {one.unit}")
    axes.spines[["top", "right"]].set_visible(False)
