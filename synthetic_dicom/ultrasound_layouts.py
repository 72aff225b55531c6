"""The ultrasound screens of the named cases."""

from __future__ import annotations

from dataclasses import replace

from synthetic_dicom.ultrasound_view import Panel, Screen

_REGION = (20, 16, 619, 411)
_TRACE = (20, 424, 619, 471)


def _panel(
    plane_deg: float,
    region: tuple[int, int, int, int],
    mm_per_px: tuple[float, float],
    depth_mm: float,
) -> Panel:
    return Panel(
        plane_deg=plane_deg,
        region=region,
        apex_px=(region[1] + 4.0, 0.5 * (region[0] + region[2])),
        mm_per_px=mm_per_px,
        depth_mm=depth_mm,
        declared_region=region,
        declared_delta_cm=(0.1 * mm_per_px[1], 0.1 * mm_per_px[0]),
    )


def one_plane(plane_deg: float, *, colour: bool = True) -> Screen:
    """Return one sector; its pixels are not quite square."""
    panel = _panel(plane_deg, _REGION, (0.2050, 0.2076), 79.0)
    return Screen(rows=480, columns=640, panels=(panel,), trace_region=_TRACE, colour=colour)


def square_plane(inside_mm: float) -> Screen:
    """Return a plane square to the neck, as cut from a volume, so far inside the ostium."""
    screen = one_plane(0.0)
    return replace(screen, panels=(replace(screen.panels[0], square_mm=inside_mm),))


def two_planes() -> Screen:
    """Return two planes side by side, a right angle and a scale apart."""
    left = _panel(0.0, (8, 16, 315, 411), (0.2300, 0.2300), 88.0)
    right = _panel(90.0, (324, 16, 631, 411), (0.2600, 0.2550), 98.0)
    left, right = (replace(panel, half_angle_deg=25.0) for panel in (left, right))
    return Screen(rows=480, columns=640, panels=(left, right), trace_region=_TRACE)


def undeclared() -> Screen:
    """Return one sector whose header has no regions: it has no scale."""
    return replace(one_plane(0.0), declares_regions=False)


def stale() -> Screen:
    """Return one sector whose header still describes an image 1.6 times as large."""
    screen = one_plane(0.0)
    panel = screen.panels[0]
    enlarged = tuple(round(1.6 * edge) for edge in panel.region)
    region = (enlarged[0], enlarged[1], enlarged[2], enlarged[3])
    delta = (panel.declared_delta_cm[0] / 1.6, panel.declared_delta_cm[1] / 1.6)
    wrong = replace(panel, declared_region=region, declared_delta_cm=delta)
    return replace(screen, panels=(wrong,))
