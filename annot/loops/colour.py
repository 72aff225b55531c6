"""Stored colour becomes 8-bit RGB: interleaving, subsampling and the YBR equations."""

from functools import cache

import numpy as np

from annot.loops.pixel_layout import PixelArray, PixelLayout

# ISO/IEC 10918-5, 7 (the inverse of PS3.3 C.7.6.3.1.2), as exact fractions of the luma weights.
_RED_OF_CR = 1.402
_BLUE_OF_CB = 1.772
_GREEN_OF_CB = -0.114 * 1.772 / 0.587
_GREEN_OF_CR = -0.299 * 1.402 / 0.587


def ybr_to_rgb(ybr: PixelArray) -> PixelArray:
    """Convert full-range YBR to RGB.

    Parameters
    ----------
    ybr
        (…, 3) of ``uint8``: Y, Cb, Cr.

    Returns
    -------
    ndarray
        The same shape, each sample rounded to the nearest level and held to 0–255.
    """
    red, green, blue = _tables()
    luma = ybr[..., 0].astype(np.int16)
    chroma = (ybr[..., 1].astype(np.uint16) << 8) | ybr[..., 2]
    rgb = np.empty(ybr.shape, dtype=np.uint8)
    for channel, change in enumerate((red[ybr[..., 2]], np.take(green, chroma), blue[ybr[..., 1]])):
        np.add(change, luma, out=change)
        rgb[..., channel] = np.clip(change, 0, 255, out=change)
    return rgb


@cache
def _tables() -> tuple[PixelArray, PixelArray, PixelArray]:
    """Tabulate what chroma adds to each channel; Y is whole, so rounding can be done ahead."""
    chroma = np.arange(256) - 128.0

    def rounded(change: PixelArray) -> PixelArray:
        return np.floor(change + 0.5).astype(np.int16)

    green = _GREEN_OF_CB * chroma[:, None] + _GREEN_OF_CR * chroma[None, :]
    return rounded(_RED_OF_CR * chroma), rounded(green).ravel(), rounded(_BLUE_OF_CB * chroma)


def native_colour(samples: PixelArray, layout: PixelLayout) -> PixelArray:
    """Bring the samples of one uncompressed colour frame to (rows, columns, 3) RGB."""
    colour = _interleaved(samples, layout)
    return ybr_to_rgb(colour) if layout.photometric.startswith("YBR_FULL") else colour


def _interleaved(samples: PixelArray, layout: PixelLayout) -> PixelArray:
    rows, columns = layout.rows, layout.columns
    if layout.photometric == "YBR_FULL_422":
        # Y Y Cb Cr for each pair of pixels (PS3.3 C.7.6.3.1.2): the pair shares its colour.
        pairs = samples.reshape(-1, 4)
        full = np.empty((len(pairs), 2, 3), dtype=samples.dtype)
        full[:, :, 0] = pairs[:, :2]
        full[:, :, 1:] = pairs[:, None, 2:]
        return full.reshape(rows, columns, 3)
    if layout.planar:
        return np.ascontiguousarray(samples.reshape(3, rows, columns).transpose(1, 2, 0))
    return samples.reshape(rows, columns, 3)
