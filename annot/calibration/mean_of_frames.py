"""One size seen in several frames: what every frame states, or what they scatter if that is more.

Scatter between frames is one estimate with one less degree of freedom than there are frames; put
to each frame anew, it would count as so many independent ones.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from annot.uncertainty import InputQuantity, MeasurementResult, from_repeats, propagate

CHANCE = 0.05  # a larger scatter that comes up so often only widens what the frames state


def mean_of_frames(seen: Sequence[InputQuantity], *, key: str) -> MeasurementResult:
    """Return the mean of one size over the frames it was seen in.

    Parameters
    ----------
    seen
        The size in each frame, with what that frame alone says of its uncertainty.
    key
        Of the scatter between frames, where it tells more than the frames do.
    """
    from scipy.special import chdtri

    values, first = [one.value for one in seen], seen[0]
    stated = math.sqrt(sum(one.u**2 for one in seen)) / len(seen)
    if len(set(values)) > 1:
        scattered = from_repeats(
            values,
            key=key,
            unit=first.unit,
            component=first.component,
            source=f"scatter of {len(seen)} frames, more than they state: {first.source}",
        )
        ratio = scattered.u / stated
        # the Birge ratio squared times the freedom: what chance alone explains is no finding
        if (len(seen) - 1) * ratio**2 > float(chdtri(len(seen) - 1.0, CHANCE)):
            return propagate(lambda value: value, [scattered], unit=first.unit)
        seen = [replace(one, u=one.u * max(ratio, 1.0)) for one in seen]
    return propagate(lambda *sizes: sum(sizes) / len(sizes), seen, unit=first.unit)
