"""Rows and grids against general-purpose libraries: OpenCV, scikit-image and statsmodels."""

import warnings

import numpy as np
import pytest

from annot.calibration.grid_fit import fit_grid
from annot.calibration.grid_nodes import homography
from annot.calibration.regular_row import spacing_of
from annot.geometry import PixelPoint
from synthetic_dicom import render_case

cv2 = pytest.importorskip("cv2")
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    sm = pytest.importorskip("statsmodels.api")


@pytest.fixture(scope="module")
def grids():
    made = {}
    for name in ("xa_wire_grid", "xa_bead_grid"):
        frames, truth = render_case(name, frames=1)
        nodes = np.array(truth.objects[0].node_px)
        corners = tuple(
            PixelPoint(*map(float, nodes[one] + 2.0))
            for one in ((0, 0), (-1, 0), (-1, -1), (0, -1))
        )
        made[name] = frames[0], nodes, fit_grid(frames[0], corners)
    return made


def test_wire_crossings_against_opencvs_corner_refinement(grids):
    """cornerSubPix finds where all gradients point past; both are within 0.1 px of each other."""
    frame, nodes, fit = grids["xa_wire_grid"]
    picture = cv2.normalize(frame, None, 0, 255, cv2.NORM_MINMAX).astype(np.uint8)
    start = (nodes.reshape(-1, 1, 2)[..., ::-1] + 0.8).astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-3)
    refined = cv2.cornerSubPix(picture, start, (9, 9), (-1, -1), stop)[:, 0, ::-1]
    own = {node.step: node.place for node in fit.nodes}
    other = dict(zip(np.ndindex(nodes.shape[:2]), refined, strict=True))
    apart = [np.hypot(*np.subtract(own[step], other[step])) for step in own]
    assert len(apart) == nodes.shape[0] * nodes.shape[1]
    assert np.sqrt(np.mean(np.square(apart))) < 0.1


def test_bead_centres_against_scikit_images_contours_and_ellipses(grids):
    """A half-depth contour of each bead and the ellipse through it."""
    from skimage.measure import EllipseModel, find_contours, ransac

    frame, nodes, fit = grids["xa_bead_grid"]
    apart = []
    for node in fit.nodes[::5]:
        top, left = (round(one) - 12 for one in node.place)
        patch = frame[top : top + 25, left : left + 25].astype(float)
        level = 0.5 * (np.median(patch) + patch.min())
        outline = max(find_contours(patch, level), key=len)
        model, _ = ransac(outline, EllipseModel, 8, 0.3, max_trials=50, rng=1)
        centre = np.array(model.center if hasattr(model, "center") else model.params[:2])
        apart.append(np.hypot(*(centre + np.array([top, left]) - node.place)))
    assert len(apart) > 8
    assert np.sqrt(np.mean(np.square(apart))) < 0.12
    assert max(apart) < 0.3
    assert np.hypot(*np.subtract(fit.nodes[0].place, nodes[fit.nodes[0].step])) < 0.1


def test_the_projective_map_against_opencv():
    rng = np.random.default_rng(4)
    points = rng.uniform(0, 100, (20, 2))
    target = points @ np.array([[0.9, 0.2], [-0.1, 1.1]]) / (1 + 0.001 * points[:, :1])
    theirs, _ = cv2.findHomography(points, target, 0)
    assert homography(points, target) == pytest.approx(theirs, rel=1e-6, abs=1e-5)


def test_the_spacing_against_generalised_least_squares_of_statsmodels():
    rng = np.random.default_rng(7)
    place = np.array([0, 1, 2, 4, 5, 6])
    u_px, u_gap = np.full(6, 0.08), 0.003
    marks = 12.0 + 41.0 * place + rng.normal(0, 0.05, 6)
    found = spacing_of(marks, u_px, place, u_gap_rel=u_gap)
    coarse = np.polyfit(place, marks, 1)[0]
    cov = np.diag(u_px**2) + (u_gap * coarse) ** 2 * np.minimum.outer(place, place)
    theirs = sm.GLS(marks, sm.add_constant(place.astype(float)), sigma=cov).fit()
    assert found.spacing_px == pytest.approx(theirs.params[1], rel=1e-10)
    own = np.hypot(found.u_marks_px, found.u_gaps_px)
    assert own == pytest.approx(np.sqrt(theirs.normalized_cov_params[1, 1]), rel=1e-8)
