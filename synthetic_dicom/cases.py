"""The named loops: what each shows and what is wrong with it on purpose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from numpy.typing import NDArray

from synthetic_dicom import phantom_scenes, ultrasound_layouts, xray_scenes
from synthetic_dicom.case import Case
from synthetic_dicom.encode import put_pixels
from synthetic_dicom.implant import Implant
from synthetic_dicom.rendering import render
from synthetic_dicom.truth import Truth
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.write import WrittenLoop, write_loop
from synthetic_dicom.xray_image import XrayScene


def _xray(name: str, description: str, scene: XrayScene, *, with_geometry: bool = True) -> Case:
    return Case(
        name=name, description=description, scene=scene, frames=45, with_geometry=with_geometry
    )


def _ultrasound(name: str, description: str, scene: Screen) -> Case:
    return Case(name=name, description=description, scene=scene, frames=60)


def _xray_cases() -> tuple[Case, ...]:
    clean = xray_scenes.catheter_scene()
    filled = xray_scenes.catheter_scene(filled=True)
    stripe = xray_scenes.catheter_scene(stripe=True)
    return (
        _xray("xa_clean", "catheter of 2.00 mm, empty, at the anatomy's depth", clean),
        _xray("xa_filled", "the same catheter filled with contrast", filled),
        _xray(
            "xa_caudal",
            "caudal view, curved catheter 15 mm nearer to the source than the anatomy",
            xray_scenes.caudal_scene(),
        ),
        _xray("xa_stripe", "catheter with a radiopaque thread in its wall", stripe),
        _xray("xa_sphere", "sphere of 10 mm and marker bands", xray_scenes.sphere_scene()),
        _xray(
            "xa_implant",
            "an invented implant in the neck, tilted and protruding",
            replace(clean, implant=Implant()),
        ),
        _xray("xa_markers", "curved wire with a band missing", xray_scenes.marker_scene()),
        _xray(
            "xa_markers_tilted",
            "straight wire with bands, tilted out of the picture's plane",
            xray_scenes.tilted_marker_scene(),
        ),
        _xray(
            "xa_no_spacing",
            "no detector spacing and no distances in the header",
            clean,
            with_geometry=False,
        ),
    )


def _ultrasound_cases() -> tuple[Case, ...]:
    planes = tuple(
        _ultrasound(
            f"us_{angle:03d}",
            f"plane at {angle} degrees",
            ultrasound_layouts.one_plane(float(angle)),
        )
        for angle in (0, 45, 90, 135)
    )
    return (
        *planes,
        _ultrasound(
            "us_implant",
            "the same implant in the plane at 45 degrees, with a gap beside it",
            replace(ultrasound_layouts.one_plane(45.0), implant=Implant()),
        ),
        # a micrometre inside, where the neck begins and the vestibule ends
        _ultrasound(
            "us_square_ostium",
            "plane square to the neck at the ostium",
            ultrasound_layouts.square_plane(0.001),
        ),
        _ultrasound(
            "us_square_zone",
            "plane square to the neck 10 mm inside the ostium",
            ultrasound_layouts.square_plane(10.0),
        ),
        _ultrasound("us_grey", "grey values", ultrasound_layouts.one_plane(0.0, colour=False)),
        _ultrasound(
            "us_two_regions", "two planes with two scales", ultrasound_layouts.two_planes()
        ),
        _ultrasound("us_no_region", "no regions declared", ultrasound_layouts.undeclared()),
        _ultrasound(
            "us_stale_region",
            "regions of the larger image it was shrunk from",
            ultrasound_layouts.stale(),
        ),
    )


def _phantom(name: str, description: str, scene: XrayScene) -> Case:
    return Case(name=name, description=description, scene=scene, frames=4)


_PHANTOMS = (
    _phantom("xa_wire_grid", "grid of wires 10 mm apart, turned", phantom_scenes.wire_grid()),
    _phantom(
        "xa_bead_grid",
        "grid of beads 10 mm apart, two missing, pixels wider than high",
        phantom_scenes.bead_grid(),
    ),
    _phantom("xa_step", "plate of strips with edges 5 mm apart", phantom_scenes.step_plate()),
)


def _capture(name: str, description: str, frames: int) -> Case:
    scene = xray_scenes.catheter_scene()
    return Case(name=name, description=description, scene=scene, frames=frames, capture=True)


_CAPTURES = (
    _capture("sc_single", "screen capture of one X-ray frame", 1),
    _capture("sc_multi", "screen capture of an X-ray loop", 30),
)

CASES: Mapping[str, Case] = MappingProxyType(
    {case.name: case for case in (*_xray_cases(), *_PHANTOMS, *_ultrasound_cases(), *_CAPTURES)}
)


def write_case(
    name: str,
    folder: Path | str,
    *,
    seed: int = 1,
    frames: int | None = None,
    encoding: str = "explicit",
) -> WrittenLoop:
    """Render a named case and write it with its truth; the same arguments give the same bytes.

    Parameters
    ----------
    name : str
        A key of `CASES`.
    folder : Path or str
        Made if it is not there.
    seed : int
        Of anatomy, motion, texture and noise.
    frames : int, optional
        Length; the case's own if left out.
    encoding : str
        ``explicit``, ``implicit``, ``rle`` or ``jpeg``.

    Returns
    -------
    WrittenLoop
        Where the file and its truth are, and the truth.
    """
    made = render(_case(name), seed=seed, frames=frames, encoding=encoding)
    put_pixels(made.header, made.frames, encoding=encoding)
    return write_loop(made.header, made.truth, Path(folder))


def render_case(
    name: str, *, seed: int = 1, frames: int | None = None
) -> tuple[NDArray[Any], Truth]:
    """Render a named case without writing it.

    Returns
    -------
    tuple
        Frames as they would be stored, shape (frames, rows, columns) and a last axis of 3 in
        colour, and the truth.
    """
    made = render(_case(name), seed=seed, frames=frames, encoding="explicit")
    return made.frames, made.truth


def _case(name: str) -> Case:
    if name not in CASES:
        raise ValueError(f"No case {name!r}: choose one of {', '.join(CASES)}.")
    return CASES[name]
