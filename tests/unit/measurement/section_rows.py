"""Rows of a table as an invented study would have them, with the shares that a scale leaves."""

import math

from annot.measurement.measured_row import MeasuredRow

ECHO, XRAY = "US", "XA"


def row(value, **more):
    """Return a width's row: own error 0.4 mm, a scale of 1.5 % shared by `scale_id`."""
    own, scale_rel = more.pop("own", 0.4), more.pop("scale_rel", 0.015)
    scale = scale_rel * value
    u = math.hypot(own, scale)
    fields = {
        "study": "HARBOUR-01",
        "quantity": "landing_zone_width",
        "reader": "A",
        "unit": "mm",
        "modality": ECHO,
        "scale_id": "us-1",
        "share_scale": scale**2 / u**2,
        "share_object": 0.0,
        "share_depth": 0.0,
    }
    return MeasuredRow(value=value, u=u, **fields | more)


def echo_rows(ellipse, directions=(0, 45, 90, 135), *, noise=None, **more):
    """Return the chords of an ellipse as rows, with errors added."""
    errors = [0.0] * len(directions) if noise is None else noise
    return [
        row(float(ellipse.chord(turn)) + error, view_deg=float(turn), **more)
        for turn, error in zip(directions, errors, strict=True)
    ]


def xray_rows(ellipse, directions=(20, 80, 140), *, factor=1.0, **more):
    """Return the silhouettes of an ellipse as rows, each loop under a scale of its own."""
    return [
        row(
            factor * float(ellipse.silhouette(turn)),
            view_deg=float(turn),
            modality=XRAY,
            **{"scale_id": f"xa-{turn}"} | more,
        )
        for turn in directions
    ]
