"""Read what a header says about showing its frames; what cannot be used is left out."""

from collections.abc import Sequence

import numpy as np

from annot.loops.attributes import Attributes
from annot.loops.display import Display, LookupTable, Shutter, Window
from annot.loops.pixel_layout import PixelLayout
from annot.loops.subtraction import AVERAGE, TIME_INTERVAL, MaskOperation

_FUNCTIONS = ("LINEAR", "LINEAR_EXACT", "SIGMOID")
# Stored values differ by 1: anything narrower is a threshold at best, and a fault at worst.
_LEAST_WIDTH = 1e-6
_SHAPES = ("RECTANGULAR", "CIRCULAR", "POLYGONAL")


def read_display(attributes: Attributes, layout: PixelLayout) -> Display:
    """Read modality and VOI transformations, shutter and polarity of a header."""
    slope = attributes.number("RescaleSlope")
    stored = layout.bits_stored
    signed = bool(layout.pixel_representation)
    tables = _tables(attributes, "ModalityLUTSequence", signed=signed)
    return Display(
        slope=1.0 if slope is None or slope == 0 else slope,
        intercept=attributes.number("RescaleIntercept") or 0.0,
        modality_table=next(iter(tables), None),
        windows=_windows(attributes),
        tables=_tables(attributes, "VOILUTSequence", signed=signed),
        shutter=_shutter(attributes),
        inverted=layout.photometric == "MONOCHROME1"
        or attributes.text("PresentationLUTShape") == "INVERSE",
        lowest=-(2.0 ** (stored - 1)) if signed else 0.0,
        highest=2.0 ** (stored - signed) - 1.0,
    )


def _windows(attributes: Attributes) -> tuple[Window, ...]:
    centres = attributes.numbers("WindowCenter") or ()
    widths = attributes.numbers("WindowWidth") or ()
    function = attributes.one_of("VOILUTFunction", _FUNCTIONS) or "LINEAR"
    names = attributes.texts("WindowCenterWidthExplanation")
    least = 1.0 if function == "LINEAR" else _LEAST_WIDTH
    return tuple(
        Window(
            centre=centre,
            width=width,
            function=function,
            name=names[place] if place < len(names) else "",
        )
        for place, (centre, width) in enumerate(zip(centres, widths, strict=False))
        if width >= least
    )


def _tables(attributes: Attributes, keyword: str, *, signed: bool) -> tuple[LookupTable, ...]:
    read = (
        _table(Attributes(item, attributes.warnings), signed) for item in attributes.items(keyword)
    )
    return tuple(table for table in read if table is not None)


def _table(item: Attributes, signed: bool) -> LookupTable | None:
    """Read a table; in the descriptor, 0 entries mean 65536 (PS3.3 C.11.1.1.1)."""
    descriptor = item.numbers("LUTDescriptor")
    if descriptor is None or len(descriptor) != 3 or not 1 <= descriptor[2] <= 16:
        return None
    count, first, bits = (int(number) for number in descriptor)
    count = count % 65536 or 65536
    if signed and first > 32767:
        first -= 65536
    entries = _entries(item, count, bits)
    name = item.text("LUTExplanation") or ""
    return LookupTable(entries=entries, first=first, bits=bits, name=name) if entries else None


def _entries(item: Attributes, count: int, bits: int) -> tuple[int, ...]:
    raw = item.raw("LUTData")
    if isinstance(raw, bytes):
        wide = len(raw) >= 2 * count
        values = np.frombuffer(raw, dtype="<u2" if wide else "u1")[:count].tolist()
    else:
        values = [int(number) for number in item.numbers("LUTData") or ()][:count]
    top = (1 << bits) - 1
    return tuple(values) if len(values) == count and all(0 <= one <= top for one in values) else ()


def _shutter(attributes: Attributes) -> Shutter | None:
    shapes = [shape for shape in attributes.texts("ShutterShape") if shape in _SHAPES]
    rectangle = _rectangle(attributes) if "RECTANGULAR" in shapes else None
    circle = _circle(attributes) if "CIRCULAR" in shapes else None
    polygon = _polygon(attributes) if "POLYGONAL" in shapes else ()
    if not (rectangle or circle or polygon):
        return None
    value = attributes.number("ShutterPresentationValue") or 0
    grey = min(max(int(value) >> 8, 0), 255)  # a 16-bit value
    return Shutter(rectangle=rectangle, circle=circle, polygon=polygon, grey=grey)


def _rectangle(attributes: Attributes) -> tuple[float, float, float, float] | None:
    edges = [
        attributes.number(keyword)
        for keyword in (
            "ShutterUpperHorizontalEdge",
            "ShutterLowerHorizontalEdge",
            "ShutterLeftVerticalEdge",
            "ShutterRightVerticalEdge",
        )
    ]
    top, bottom, left, right = ((None if edge is None else edge - 1) for edge in edges)
    if top is None or bottom is None or left is None or right is None:
        return None
    return top, bottom, left, right


def _circle(attributes: Attributes) -> tuple[float, float, float] | None:
    centre = attributes.numbers("CenterOfCircularShutter")
    radius = attributes.number("RadiusOfCircularShutter")
    if centre is None or len(centre) != 2 or radius is None or radius <= 0:
        return None
    return centre[0] - 1, centre[1] - 1, radius


def _polygon(attributes: Attributes) -> tuple[tuple[float, float], ...]:
    numbers: Sequence[float] = attributes.numbers("VerticesOfThePolygonalShutter") or ()
    if len(numbers) % 2 or len(numbers) < 6:
        return ()
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    return tuple((row - 1, column - 1) for row, column in pairs)


def read_masks(attributes: Attributes) -> tuple[MaskOperation, ...]:
    """Read the mask operations that can be carried out; others are noted."""
    items = attributes.items("MaskSubtractionSequence")
    if items and _moves_frame_by_frame(attributes):
        attributes.warn(
            "The mask is moved frame by frame (Frame Pixel Shift), which is not carried out, so "
            "the loop is shown unsubtracted."
        )
        return ()
    masks = (
        _mask(Attributes(item, attributes.warnings, place=f"Mask {number}: "))
        for number, item in enumerate(items, start=1)
    )
    found = tuple(mask for mask in masks if mask is not None)
    if found and attributes.text("RecommendedViewingMode") == "SUB":
        attributes.warn("The file recommends its subtracted view.")
    return found


def _moves_frame_by_frame(attributes: Attributes) -> bool:
    """Tell whether functional groups state a shift, which then prevails (PS3.3 C.7.6.10)."""
    groups = (
        item
        for keyword in ("SharedFunctionalGroupsSequence", "PerFrameFunctionalGroupsSequence")
        for item in attributes.items(keyword)
    )
    return any("FramePixelShiftSequence" in group for group in groups)


def _mask(item: Attributes) -> MaskOperation | None:
    operation = item.text("MaskOperation")
    if operation not in (AVERAGE, TIME_INTERVAL):
        if operation != "NONE":
            # REV_TID among them: how its mask steps from frame to frame is not sure enough.
            named = f"operation {operation[:16]}" if operation else "operation, which is not named,"
            item.warn(
                f"its {named} is not carried out; frames without another mask are shown "
                "unsubtracted."
            )
        return None
    ranges = [int(number) - 1 for number in item.numbers("ApplicableFrameRange") or ()]
    shift = item.numbers("MaskSubPixelShift") or (0.0, 0.0)
    averaged = item.whole("ContrastFrameAveraging")
    offset = item.whole("TIDOffset")
    return MaskOperation(
        operation=operation,
        ranges=tuple(zip(ranges[::2], ranges[1::2], strict=False)),
        mask_frames=tuple(int(number) - 1 for number in item.numbers("MaskFrameNumbers") or ()),
        contrast_frames=max(1, averaged or 1),
        shift_px=(shift[0], shift[1]) if len(shift) == 2 else (0.0, 0.0),
        offset=1 if offset is None else offset,
    )
