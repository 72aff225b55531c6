"""Scale requests as a reader would make them from what a loop shows, in the read file's words."""

import numpy as np

from synthetic_dicom import Truth


def strayed(point, shift, rng, sd_px=1.5):
    return [
        round(float(place + moved + rng.normal(0, sd_px)), 2)
        for place, moved in zip(point, shift, strict=True)
    ]


def catheter_part(truth: Truth, frames, *, seed=0, **more):
    rng, one = np.random.default_rng(seed), truth.objects[0]
    return {
        "kind": "catheter",
        "size_mm": one.size_mm,
        "tolerance_mm": 0.01,
        "filling": one.filling,
        "depth_offset_mm": 0,
        "readings": [
            {"frame": k, "axis_px": [strayed(p, one.shift_px[k], rng) for p in one.axis_px]}
            for k in frames
        ],
        **more,
    }


def sphere_part(truth: Truth, frame, *, seed=0):
    rng = np.random.default_rng(seed)
    one = next(thing for thing in truth.objects if thing.kind == "sphere")
    return {
        "kind": "sphere",
        "diameter_mm": one.size_mm,
        "tolerance_mm": 0.01,
        "depth_offset_mm": 0,
        "frame": frame,
        "centre_px": strayed(one.centre_px, one.shift_px[frame], rng, sd_px=3),
        "radius_px": one.radius_px * 1.08,
    }
