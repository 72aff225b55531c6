from annot.geometry import PixelPoint
from napari_annot.label_places import place_label

IMAGE = (200, 300)


def box_for(line, taken=(), lines=None):
    return place_label(line, (20.0, 80.0), taken, lines or [line], image=IMAGE, gap_px=5.0)


def test_a_label_stands_to_the_right_of_its_line():
    line = (PixelPoint(50, 40), PixelPoint(60, 100))
    top, left, bottom, _ = box_for(line)
    assert left == 105
    assert (top + bottom) / 2 == 60


def test_a_label_goes_left_where_the_picture_ends():
    line = (PixelPoint(50, 240), PixelPoint(60, 290))
    _, left, _, right = box_for(line)
    assert left >= 0
    assert right <= 240 or right <= IMAGE[1] - 1


def test_labels_do_not_cover_one_another_nor_lines():
    first = (PixelPoint(50, 100), PixelPoint(120, 105))
    second = (PixelPoint(52, 110), PixelPoint(118, 112))
    one = box_for(first, lines=[first, second])
    two = box_for(second, taken=[one], lines=[first, second])
    apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
    assert apart
    for box in (one, two):
        for point in (*first, *second):
            assert not (box[0] < point.row < box[2] and box[1] < point.column < box[3])


def test_a_label_never_leaves_the_picture():
    for corner in ((0, 0), (0, 299), (199, 0), (199, 299)):
        line = (PixelPoint(*corner), PixelPoint(100, 150))
        top, left, bottom, right = box_for(line)
        assert top >= 0
        assert left >= 0
        assert bottom <= 199
        assert right <= 299
