"""From samples as they lie to stored values: unused high bits cleared, the sign kept."""

import numpy as np

from annot.loops.pixel_layout import PixelArray


def keep_low_bits(samples: PixelArray, bits: int) -> PixelArray:
    """Clear everything above the lowest `bits` bits, in place.

    Old files keep overlays up there, and some writers leave the sign out of it: of a signed type,
    the highest bit kept is the sign.

    Parameters
    ----------
    samples
        Writable integers of the machine's byte order.
    bits
        How many low bits carry the value.

    Returns
    -------
    ndarray
        `samples` itself.
    """
    unused = samples.dtype.itemsize * 8 - bits
    if unused <= 0:
        return samples
    if samples.dtype.kind == "u":
        np.bitwise_and(samples, samples.dtype.type((1 << bits) - 1), out=samples)
    else:
        np.left_shift(samples, unused, out=samples)
        np.right_shift(samples, unused, out=samples)
    return samples


def uses_high_bits(samples: PixelArray, bits: int) -> bool:
    """Tell whether `keep_low_bits` would change anything; `samples` may be read-only."""
    if samples.dtype.itemsize * 8 == bits or not samples.size:
        return False
    low, high = (0, (1 << bits) - 1)
    if samples.dtype.kind == "i":
        low, high = -(1 << (bits - 1)), (1 << (bits - 1)) - 1
    return bool(samples.max() > high or samples.min() < low)
