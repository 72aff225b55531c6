"""Which wish of which panel leads to which act: the dock's wires, all in one place."""

from functools import partial
from typing import TYPE_CHECKING

from napari_annot.tools import OBJECT_TOOLS

if TYPE_CHECKING:
    from napari_annot.dock import MeasureDock
    from napari_annot.keys import Keys
    from napari_annot.screen_state import ScreenState
    from napari_annot.window_parts import WindowParts


def connect_all(dock: "MeasureDock") -> None:
    """Connect every panel of a dock with the desk behind it."""
    _connect_loops(dock)
    _connect_scale(dock)
    _connect_sheet(dock)
    _connect_calipers(dock)
    _connect_help(dock)
    _connect_aids(dock)
    _connect_read(dock)
    _connect_table(dock)
    for panel in (dock.scale, dock.calipers, dock.reading):
        panel.refused.connect(dock.refuse)


def _connect_loops(dock: "MeasureDock") -> None:
    dock.loops.file_wanted.connect(dock.ask_files)
    dock.loops.folder_wanted.connect(dock.ask_folder)
    dock.loops.chosen.connect(dock.desk.show)
    dock.thumbnails.made.connect(dock.loops.show_thumbnail)
    dock.display.chosen.connect(lambda choice: dock.attempt(lambda: dock.desk.show_as(choice)))


def _connect_scale(dock: "MeasureDock") -> None:
    dock.scale.trace_wanted.connect(lambda kind: dock.arm(OBJECT_TOOLS[kind]))
    dock.scale.traces_dropped.connect(dock.desk.drop_traces)
    dock.scale.scale_wanted.connect(dock.make_scale)
    dock.scale.scale_removed.connect(lambda: dock.attempt(lambda: dock.desk.ask_scale(None)))
    dock.scale.prefilled.connect(dock.tell)
    dock.desk.trace_drawn.connect(dock.on_traced)


def _connect_sheet(dock: "MeasureDock") -> None:
    desk, sheet = dock.desk, dock.sheet
    sheet.cell_wanted.connect(
        lambda quantity, view: dock.attempt(lambda: desk.read_cell(quantity, view))
    )
    sheet.repeat_wanted.connect(
        lambda quantity, view, repeat: dock.attempt(
            lambda: desk.read_repeat(quantity, view, repeat)
        )
    )
    sheet.next_wanted.connect(partial(dock.attempt, desk.read_next))
    sheet.view_wanted.connect(desk.show)
    sheet.follows.chart_wanted.connect(dock.ask_chart)
    sheet.follows.save_wanted.connect(dock.ask_save)
    sheet.follows.export_wanted.connect(dock.ask_export)


def _connect_calipers(dock: "MeasureDock") -> None:
    dock.calipers.armed.connect(dock.arm)
    dock.calipers.undo_wanted.connect(dock.desk.undo)
    dock.calipers.redo_wanted.connect(dock.desk.redo)
    dock.calipers.delete_wanted.connect(dock.desk.delete_selected)
    dock.calipers.placing_stated.connect(dock.desk.place_ends)
    dock.calipers.tilt_stated.connect(lambda tilt: dock.revise(tilt_deg=tilt))
    dock.calipers.beat_stated.connect(lambda beat: dock.revise(beat=beat))
    dock.calipers.moment_stated.connect(lambda moment: dock.revise(moment=moment))
    dock.calipers.note_stated.connect(lambda note: dock.revise(note=note))


def _connect_help(dock: "MeasureDock") -> None:
    row, desk = dock.calipers.help, dock.desk
    for wish, done in (
        (row.propose_wanted, desk.propose_ends),
        (row.accepted, desk.accept_ends),
        (row.left, desk.leave_ends),
        (row.carry_wanted, desk.carry),
        (row.stop_wanted, desk.stop_carrying),
        (row.confirmed, desk.confirm),
        (row.all_confirmed, desk.confirm_all),
    ):
        wish.connect(partial(dock.attempt, done))


def _connect_aids(dock: "MeasureDock") -> None:
    aids, desk = dock.calipers.aids, dock.desk
    aids.armed.connect(dock.arm)
    aids.helped.connect(desk.help_with)
    for wish, done in (
        (aids.cleared, desk.clear_landmarks),
        (aids.copy_wanted, desk.copy_here),
        (aids.end_wanted, desk.other_end),
    ):
        wish.connect(partial(dock.attempt, done))


def bind_keys(dock: "MeasureDock", parts: "WindowParts") -> None:
    """Give tools, looks, sheet and aids their keys."""
    parts.bind_tools(dock.arm, dock.calipers.tools)
    parts.bind_display(dock.display)
    parts.bind_sheet(partial(dock.attempt, dock.desk.read_next), dock.sheet.next)
    _bind_aids(dock, parts.keys)


def _bind_aids(dock: "MeasureDock", keys: "Keys") -> None:
    desk, aids = dock.desk, dock.calipers.aids

    def chosen(state: "ScreenState") -> bool:
        return state.selected is not None

    for name, down, right in (
        ("end_up", -1, 0),
        ("end_down", 1, 0),
        ("end_left", 0, -1),
        ("end_right", 0, 1),
    ):
        keys.bind(name, partial(dock.attempt, partial(desk.nudge, down, right)), when=chosen)
    keys.bind("other_end", partial(dock.attempt, desk.other_end), when=chosen)
    keys.bind("copy_here", partial(dock.attempt, desk.copy_here), when=chosen)
    keys.bind("guides", aids.guides.click)
    keys.bind("nearby", aids.onion.click)
    for name, button in (
        ("other_end", aids.end),
        ("copy_here", aids.copy),
        ("guides", aids.guides),
        ("nearby", aids.onion),
    ):
        button.setToolTip(keys.hint(name, button.toolTip()))


def _connect_read(dock: "MeasureDock") -> None:
    reading, desk = dock.reading, dock.desk
    reading.reader_stated.connect(desk.state_reader)
    reading.conditions_stated.connect(
        lambda stated: dock.attempt(lambda: desk.state_conditions(stated))
    )
    reading.plane_stated.connect(lambda plane: dock.attempt(lambda: desk.state_plane(plane)))
    reading.protocol_stated.connect(dock.state_protocol)
    reading.own_protocol_wanted.connect(dock.ask_protocol)
    reading.implant_stated.connect(
        lambda implant: dock.attempt(lambda: desk.state_implant(implant))
    )
    reading.take_up.clicked.connect(dock.take_up)
    reading.load_wanted.connect(dock.ask_read)
    reading.save_wanted.connect(dock.ask_save)
    reading.export_wanted.connect(dock.ask_export)


def _connect_table(dock: "MeasureDock") -> None:
    dock.table.turned_to.connect(dock.desk.go_to)
    dock.table.delete_pressed.connect(dock.desk.delete_selected)
    dock.table.model.repeat_stated.connect(lambda key, repeat: dock.desk.revise(key, repeat=repeat))
