"""Everything a person can do by a key: one list, which binds the keys and is shown on request."""

from dataclasses import dataclass

from napari_annot.caliper_panel import PALETTE

DRAWING, READING, PLAYING, SIDE, LOOKING, HELP = (
    "Drawing",
    "Reading",
    "Playback",
    "Two loops",
    "Looking only",
    "Help",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One thing a person can do.

    Attributes
    ----------
    name
        What the program calls it.
    group, words
        Where it stands in the list, and what it does.
    key
        As Qt writes keys.
    repeats
        Whether it goes on while the key is held.
    """

    name: str
    group: str
    words: str
    key: str
    repeats: bool = False


def _of(group: str, *rows: tuple[str, str, str]) -> tuple[Action, ...]:
    return tuple(
        Action(name=name, group=group, words=words, key=key, repeats=name in _REPEATING)
        for name, words, key in rows
    )


def _digit(place: int) -> str:
    """Return the key of a tool by its place: nine digits, then the same with another key."""
    held = ("Ctrl", "Alt", "Ctrl+Alt")[place // 9]
    return f"{held}+{place % 9 + 1}"


_NUDGES = ("end_up", "end_down", "end_left", "end_right")
_REPEATING = {"undo", "redo", "step_on", "step_back", "zoom_in", "zoom_out", *_NUDGES}

ACTIONS: tuple[Action, ...] = (
    *_of(
        DRAWING,
        *((tool.name, f"Draw: {tool.title}", _digit(n)) for n, tool in enumerate(PALETTE)),
        ("finish", "End the path being drawn", "Return"),
        ("end_up", "Move the end in hand half a pixel up", "Alt+Up"),
        ("end_down", "Move the end in hand half a pixel down", "Alt+Down"),
        ("end_left", "Move the end in hand half a pixel to the left", "Alt+Left"),
        ("end_right", "Move the end in hand half a pixel to the right", "Alt+Right"),
        ("other_end", "Take the selected caliper's next end in hand", "E"),
        ("copy_here", "Copy the selected caliper to the frame on show", "K"),
        ("guides", "Show or hide the guides", "U"),
        ("nearby", "Show or hide the calipers of nearby frames", "O"),
        ("cancel", "Put the tool down, give up what is half drawn", "Esc"),
    ),
    *_of(
        READING,
        ("next", "Take the next caliper that is owed in hand", "N"),
        ("undo", "Undo", "Ctrl+Z"),
        ("redo", "Redo", "Ctrl+Shift+Z"),
    ),
    *_of(
        PLAYING,
        ("play", "Play or pause, at the stored rate times the speed", "Space"),
        ("step_on", "One frame on", "."),
        ("step_back", "One frame back", ","),
        ("slower", "Play slower", "["),
        ("faster", "Play faster", "]"),
        ("one_beat", "Play only the beat around this frame, or the whole loop again", "B"),
        ("next_r_wave", "Go to the next R wave", "R"),
        ("last_r_wave", "Go to the R wave before", "Shift+R"),
        ("largest", "Go to the largest measured width of the loop", "M"),
        ("best_filled", "Go to the frame suggested as best filled (X-ray)", "F"),
        ("playback_dock", "Show or hide playback under the picture", "P"),
    ),
    *_of(
        SIDE,
        ("side_by_side", "Show a second loop beside this one, or hide it", "C"),
        ("change_over", "Change the two loops over", "X"),
        ("other_link", "Link the two loops by R wave, or by time", "T"),
    ),
    *_of(
        LOOKING,
        ("next_window", "Look through the next window (greys)", "W"),
        ("last_window", "Look through the window before", "Shift+W"),
        ("swap_greys", "Swap dark and light", "I"),
        ("gamma_up", "Darker middle greys (gamma up)", "G"),
        ("gamma_down", "Brighter middle greys (gamma down)", "Shift+G"),
        ("as_filed", "Look at the loop as its file asks", "Shift+I"),
        ("viewer_lists", "Show or hide the viewer's own list of layers", "Ctrl+L"),
        ("zoom_in", "Zoom in", "+"),
        ("zoom_out", "Zoom out", "-"),
        ("zoom_fit", "Show the whole picture", "Z"),
        ("zoom_pixels", "One pixel of the loop on one of the screen", "Shift+Z"),
    ),
    *_of(HELP, ("key_list", "This list of actions and keys", "F1")),
)

BY_NAME = {one.name: one for one in ACTIONS}
