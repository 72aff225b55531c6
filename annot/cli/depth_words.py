"""How the command line states a difference in depth."""

import typer


def depth_pair(text: str) -> tuple[float, float]:
    """Return the range that `--depth-range LOW,HIGH` gives."""
    parts = text.split(",")
    try:
        low, high = (float(part) for part in parts)
    except ValueError:
        raise typer.BadParameter(
            f"--depth-range takes two numbers with a comma between, not '{text}'"
        ) from None
    return low, high
