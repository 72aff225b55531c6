"""The chest around the appendage in an X-ray view: soft, smooth, seeded."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.xray_view import XraySetup


def chest_attenuation(rng: np.random.Generator, setup: XraySetup) -> FloatArray:
    """Return the attenuation of everything that stands still, shape (rows, columns).

    Parameters
    ----------
    rng : numpy.random.Generator
        Places vertebrae, ribs and slow texture.
    setup : XraySetup
        Gives the size and the angles; the spine moves across the picture with the primary angle.
    """
    down, across = np.mgrid[0 : setup.rows, 0 : setup.columns].astype(float)
    down = down / setup.rows - 0.5
    across = across / setup.columns - 0.5
    total = 0.80 + 0.16 * down - 0.10 * across
    heart = ((across + 0.10) / 0.42) ** 2 + ((down - 0.12) / 0.50) ** 2
    total += 0.50 * _edge(1.0 - heart, 0.35)
    total += _spine(rng, setup, down, across)
    total += _ribs(rng, down, across)
    total += 0.35 * _edge(down - 0.36 - 0.25 * (across - 0.15) ** 2, 0.03)
    return np.asarray(total + 0.022 * _slow_texture(rng, total.shape), dtype=float)


def _edge(signed: FloatArray, width: float) -> FloatArray:
    """Return a smooth step from 0 to 1 where a signed measure passes zero."""
    return np.asarray(0.5 * (1.0 + np.tanh(signed / width)))


def _spine(
    rng: np.random.Generator, setup: XraySetup, down: FloatArray, across: FloatArray
) -> FloatArray:
    """Vertebral bodies and the spaces between, with soft edges."""
    middle = 0.012 * setup.primary_deg - 0.06 + 0.03 * np.sin(3.0 * down)
    width = np.abs(across - middle) / 0.085
    column = _edge(1.0 - width, 0.16)
    wave = np.cos(2.0 * np.pi * (down / 0.235 + float(rng.uniform())))
    discs = 1.0 - 0.32 * np.exp(3.0 * (wave - 1.0))
    return np.asarray(0.42 * column * discs)


def _ribs(rng: np.random.Generator, down: FloatArray, across: FloatArray) -> FloatArray:
    """Pairs of faint curved bands."""
    total = np.zeros_like(down)
    start = float(rng.uniform(-0.45, -0.35))
    for index in range(4):
        course = start + 0.27 * index + 0.22 * across - 0.25 * across**2
        total += 0.075 * np.exp(-0.5 * ((down - course) / 0.022) ** 2)
        total += 0.03 * np.exp(-0.5 * ((down - course - 0.035) / 0.008) ** 2)
    return total


def _slow_texture(rng: np.random.Generator, shape: tuple[int, ...]) -> FloatArray:
    """Return a smooth random field of unit spread made of a few long waves."""
    down, across = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    total = np.zeros(shape)
    for _ in range(14):
        rate = rng.uniform(-1.0, 1.0, 2) * 2.0 * np.pi / 110.0
        total += np.cos(rate[0] * down + rate[1] * across + rng.uniform(0.0, 2.0 * np.pi))
    return np.asarray(total / np.sqrt(7.0))
