"""What buttons and fields say of themselves when the pointer rests on them, with units."""

from qtpy.QtWidgets import QAbstractButton, QWidget

# by the beginning of what stands on the button
BUTTON_TIPS = {
    "Open loops": "Open DICOM files; what cannot be opened is told below.",
    "Open folder": "Open every loop below a folder.",
    "Load read": "Open a read file (JSON) with its loops, scales and calipers.",
    "Save read": "Write scales and calipers to a read file (JSON); lengths stay in pixels there.",
    "Export table": "Write the table (CSV): each value with unit, u, 95 % interval and its origin.",
    "Take up unsaved work": "Open what a window that is gone had not saved.",
    "Hide what the shutter covers": "For looking only: draw the file's own shutter.",
    "Subtract the mask": "For looking only: show what changed since the file's mask frames.",
    "Swap dark and light": "For looking only: measuring stays on the stored pixels.",
    "Undo": "Take back the last change of the read.",
    "Redo": "Do again what was taken back.",
    "Delete": "Take the selected caliper out of the read; undo brings it back.",
    "Take proposed ends": "Let the ends stand where the picture's edges propose them.",
    "Leave as drawn": "Keep the ends where you put them.",
    "Stop": "End the work that is under way; what was found so far is dropped.",
    "Confirm all": "Confirm every carried caliper: only confirmed ones count.",
    "Confirm": "Confirm the selected carried caliper: only confirmed ones count.",
    "Fill in": "Fill in what the header names; it is used once you trace it.",
    "Trace on this frame": "Draw over the object of known size on the frame on show.",
    "Clear": "Take away the traces on this loop; a scale made from them stays.",
    "Make scale": "Fit the traced object: mm per pixel with its standard uncertainty.",
    "Remove scale": "Take the loop's scale away: its lengths are in pixels then.",
    "After an implant": "Show the quantities of a follow-up, after a closure.",
    "Clear landmarks": "Take away the landmarks of the frame on show; undo brings them back.",
    "Size chart": "Choose your own size chart (CSV); the program has none and recommends nothing.",
    "All quantities": "Show every quantity of the protocol, or only what this read asks for.",
}


def give_tips(widget: QWidget) -> None:
    """Give every button below a widget that says nothing of itself its words."""
    longest_first = sorted(BUTTON_TIPS, key=len, reverse=True)
    for button in widget.findChildren(QAbstractButton):
        if button.toolTip():
            continue
        words = next((one for one in longest_first if button.text().startswith(one)), None)
        if words is not None:
            button.setToolTip(BUTTON_TIPS[words])
