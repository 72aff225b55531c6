"""What was found of a reference object beside its size, for a person at a terminal."""

from collections.abc import Mapping
from typing import cast

from annot.uncertainty import value_with_u


def object_words(found: Mapping[str, object]) -> tuple[str, ...]:
    """Return what a grid or a catheter shows beside its size; nothing for other objects.

    Parameters
    ----------
    found : mapping
        The `object` part of the scale's answer.
    """
    if "half_depth_px" in found:
        width = cast(float, found["half_depth_px"])
        return (
            f"At half of the shadow's depth the shaft is {width:.2f} px wide: shown beside the "
            "fit, never used, as a round shadow is narrower there than its object.",
        )
    if "squareness" not in found:
        return ()
    number = cast(Mapping[str, float], found)
    nodes = cast(list[int], found["nodes"])
    missing = cast(list[list[int]], found["missing"])
    square = value_with_u(number["squareness"], number["u_squareness"])
    turn = value_with_u(number["rotation_deg"], number["u_rotation_deg"])
    gone = f"; none at {', '.join(str(tuple(one)) for one in missing)}" if missing else ""
    return (
        f"Grid of {nodes[0]} by {nodes[1]} nodes ({found['make']}), turned by {turn}°{gone}. A "
        f"pixel is {square} times as wide as high.",
        f"Nodes lie {number['rms_residual_px']:.3f} px off a square lattice (root mean square), "
        f"{number['largest_residual_px']:.3f} px at most; each node's place and residual is in "
        "--json.",
    )
