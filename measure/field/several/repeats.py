"""Pictures that show the same place: copies, and fields that overlap."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from measure.model import Picture

_SMALL_PX = 64
_SAME = 0.97  # correlation of small copies; two fields of one slide stay far below it
_COARSE_PX = 800  # registration starts on copies about this long
_MOST_ANGLE_DEG = 6.0
_LEAST_POINTS = 12
_FEATURES, _FEW_FEATURES = 2500, 1200  # comparing grows with the square: many pairs get along with few
_LEAST_OVERLAP = 0.04
_CELLS, _OF_PLACE = 12, 0.05  # cells along the overlap; share of the agreement from which one holds a place
# correlation without the one place that agrees best, for two bubbles may look alike by chance (0.35 at most
# among drawn fields that share no place, 0.9 where they do)
_ELSEWHERE = 0.5


def small_copy(picture: Picture) -> np.ndarray:
    """Return a small, even-lit grey copy, (64, 64) float32, zero mean and unit length, for `same_picture`."""
    pixels = picture.pixels
    if (
        min(pixels.shape[:2]) > 8 * _SMALL_PX
    ):  # in two steps: the first is fast, and its rounding averages out
        pixels = cv2.resize(pixels, (8 * _SMALL_PX, 8 * _SMALL_PX), interpolation=cv2.INTER_AREA)
    grey = grey_of(Picture(pixels))
    small = cv2.resize(grey, (_SMALL_PX, _SMALL_PX), interpolation=cv2.INTER_AREA)
    small = small - cv2.GaussianBlur(small, (0, 0), 8.0)
    small -= small.mean()
    return small / max(float(np.linalg.norm(small)), 1e-6)


def same_picture(first: np.ndarray, second: np.ndarray, least: float = _SAME) -> bool:
    """Whether two `small_copy` arrays show the same picture, stored anew or scaled.

    Parameters
    ----------
    first, second : (64, 64) ndarray
    least : float
        Correlation that is asked for.
    """
    return float((first * second).sum()) > least


def grey_of(picture: Picture) -> np.ndarray:
    """Return brightness 0..255, (M, N) float32."""
    scale = 255.0 / np.iinfo(picture.pixels.dtype).max
    return cv2.cvtColor(picture.pixels.astype(np.float32), cv2.COLOR_RGB2GRAY) * np.float32(scale)


@dataclass(frozen=True)
class Overlap:
    """How a second field lies on a first one.

    Attributes
    ----------
    matrix : (2, 3) ndarray
        Takes x, y px of the second field to the first: a shift, a small turn, and a scale near 1.
    share : float
        Share of the first field that both show.
    correlation : float
        Of the two pictures where they overlap, after the light was evened.
    points : int
        Matched features that agree on it.
    residual_px : float
        What parts of the overlap are still shifted by, root mean square; nan where it cannot be told.
    """

    matrix: np.ndarray
    share: float
    correlation: float
    points: int
    residual_px: float

    @property
    def angle_deg(self) -> float:
        """Turn of the second field against the first."""
        return float(np.degrees(np.arctan2(self.matrix[1, 0], self.matrix[0, 0])))

    @property
    def shift_px(self) -> tuple[float, float]:
        """Where the second field's first corner lies in the first."""
        return float(self.matrix[0, 2]), float(self.matrix[1, 2])

    def moved(self, points: ArrayLike) -> np.ndarray:
        """Return points (P, 2) of the second field in px of the first."""
        return np.asarray(points, float) @ self.matrix[:, :2].T + self.matrix[:, 2]

    def region(self, width_px: int, height_px: int, own_width_px: int, own_height_px: int) -> np.ndarray:
        """Return the polygon (P, 2) both fields show, in px of the first; empty when there is none."""
        second = self.moved([[0, 0], [own_width_px, 0], [own_width_px, own_height_px], [0, own_height_px]])
        first = np.array([[0, 0], [width_px, 0], [width_px, height_px], [0, height_px]], np.float32)
        area, shared = cv2.intersectConvexConvex(first, second.astype(np.float32))
        return shared.reshape(-1, 2).astype(float) if area > 0 else np.zeros((0, 2))


@dataclass(frozen=True)
class Sketch:
    """What is looked at first of a picture: a reduced, even-lit copy and its features.

    Attributes
    ----------
    even : (m, n) ndarray of float32
    factor : float
        By which it is smaller than the picture.
    points : (K, 2) ndarray of float32
        Places of the features, px of the copy.
    words : (K, 32) ndarray of uint8 or None
        Their descriptors.
    """

    even: np.ndarray
    factor: float
    points: np.ndarray
    words: np.ndarray | None


def sketch(picture: Picture) -> Sketch:
    """Return the sketch of a picture; with it, comparing with many others costs little."""
    return _sketch_of(_evened(grey_of(picture)), _FEW_FEATURES)


def _sketch_of(even: np.ndarray, features: int) -> Sketch:
    factor = min(1.0, _COARSE_PX / max(even.shape))
    small = _reduced(even, factor)
    points, words = cv2.ORB.create(nfeatures=features, fastThreshold=8).detectAndCompute(
        _as_bytes(small), None
    )
    return Sketch(small, factor, np.array([point.pt for point in points], np.float32).reshape(-1, 2), words)


def may_overlap(first: Sketch, second: Sketch) -> bool:
    """Whether two sketches agree somewhere well enough for `find_overlap` to be worth its time."""
    return bool(_likely(first, second))


def find_overlap(first: Picture, second: Picture) -> Overlap | None:
    """Find where two fields of one slide show the same place.

    Features (ORB, Rublee et al., ICCV 2011) on reduced copies propose a shift and turn that most agree on
    (RANSAC, Fischler and Bolles 1981); where few are found, phase correlation (Kuglin and Hines 1975)
    proposes a shift. The proposal is refined to a fraction of a pixel by maximising the correlation
    (Evangelidis and Psarakis 2008) and believed only when the pictures truly agree there.

    Parameters
    ----------
    first, second : Picture
        Taken at the same zoom.

    Returns
    -------
    Overlap or None
        None when they share no place that can be told (less than about 4 % of the field).
    """
    one, two = _evened(grey_of(first)), _evened(grey_of(second))
    small = _sketch_of(one, _FEATURES), _sketch_of(two, _FEATURES)
    best = None
    for matrix, points in _likely(*small):
        refined = _refined(one, two, _about_corner(matrix, small[0].factor))
        share, correlation, residual = _agreement(one, two, refined)
        agree = (
            share >= _LEAST_OVERLAP and correlation > 0.5 and (best is None or correlation > best.correlation)
        )
        if agree and _elsewhere(one, two, refined) > _ELSEWHERE:
            best = Overlap(refined, share, correlation, points, residual)
    return best


def _likely(first: Sketch, second: Sketch) -> list[tuple[np.ndarray, int]]:
    """Return the proposals at which the reduced copies agree at least a little."""
    found = []
    for matrix, points in _proposals(first, second):
        corner = matrix.copy()
        corner[:, 2] += np.array([0.5, 0.5]) - matrix[:, :2] @ [0.5, 0.5]
        share, correlation = _shared(first.even, second.even, corner)[:2]
        if share >= 0.5 * _LEAST_OVERLAP and correlation > 0.2:
            found.append((matrix, points))
    return found


def _about_corner(matrix: np.ndarray, factor: float) -> np.ndarray:
    """Matrix between pixel centres of reduced copies -> matrix between corner-based full-size px."""
    full = matrix.astype(float).copy()
    half = np.array([0.5, 0.5])
    full[:, 2] = (matrix[:, 2] + half - matrix[:, :2] @ half) / factor
    return full


def _evened(grey: np.ndarray) -> np.ndarray:
    factor = 8
    size = (max(8, grey.shape[1] // factor), max(8, grey.shape[0] // factor))
    coarse = cv2.GaussianBlur(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), (0, 0), 12.0)
    even = grey - cv2.resize(coarse, grey.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return cv2.GaussianBlur(even, (0, 0), 0.8)


def _reduced(grey: np.ndarray, factor: float) -> np.ndarray:
    if factor >= 1.0:
        return grey
    return cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def _as_bytes(grey: np.ndarray) -> np.ndarray:
    reach = max(4.0, 3.0 * float(np.std(grey)))
    return np.clip(128.0 + grey * (127.0 / reach), 0, 255).astype(np.uint8)


def _proposals(first: Sketch, second: Sketch) -> list[tuple[np.ndarray, int]]:
    found = []
    by_features = _by_features(first, second)
    if by_features is not None:
        found.append(by_features)
    if by_features is None or by_features[1] < 3 * _LEAST_POINTS:
        found += [(matrix, 0) for matrix in _by_phase(first.even, second.even)]
    return found


def _by_features(first: Sketch, second: Sketch) -> tuple[np.ndarray, int] | None:
    if (
        first.words is None
        or second.words is None
        or min(len(first.words), len(second.words)) < _LEAST_POINTS
    ):
        return None
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(second.words, first.words)
    pairs = sorted(pairs, key=lambda pair: pair.distance)[:800]
    if len(pairs) < _LEAST_POINTS:
        return None
    source = second.points[[pair.queryIdx for pair in pairs]]
    target = first.points[[pair.trainIdx for pair in pairs]]
    cv2.setRNGSeed(1)  # the same pictures give the same answer
    matrix, inside = cv2.estimateAffinePartial2D(
        source, target, method=cv2.RANSAC, ransacReprojThreshold=2.0, maxIters=4000, confidence=0.999
    )
    if matrix is None or not _plausible(matrix):
        return None
    count = int(inside.sum())
    return (matrix, count) if count >= _LEAST_POINTS else None


def _plausible(matrix: np.ndarray) -> bool:
    scale = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    angle = abs(float(np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0]))))
    return 0.97 < scale < 1.03 and angle < _MOST_ANGLE_DEG


def _by_phase(one: np.ndarray, two: np.ndarray) -> list[np.ndarray]:
    """Shifts proposed by phase correlation; it cannot tell a shift from one that wraps round."""
    half = 0.5 if max(one.shape) >= _COARSE_PX // 2 else 1.0  # a quarter of the work, refined afterwards
    one, two = _reduced(one, half), _reduced(two, half)
    rows, columns = (max(a, b) for a, b in zip(one.shape, two.shape, strict=True))
    padded = [np.zeros((2 * rows, 2 * columns), np.float32) for _ in range(2)]
    for canvas, grey in zip(padded, (one, two), strict=True):
        canvas[: grey.shape[0], : grey.shape[1]] = grey
    (dx, dy), _ = cv2.phaseCorrelate(padded[1], padded[0])
    dx = dx - 2 * columns if dx > columns else dx
    dy = dy - 2 * rows if dy > rows else dy
    return [np.array([[1.0, 0.0, dx / half], [0.0, 1.0, dy / half]])]


def _refined(one: np.ndarray, two: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Refine to a fraction of a pixel on the part both show; the proposal stays where that fails."""
    factor = min(1.0, 1600 / max(one.shape))
    small1, small2 = _reduced(one, factor), _reduced(two, factor)
    centred = matrix.copy()
    centred[:, 2] = matrix[:, 2] * factor - 0.5 + matrix[:, :2] @ [0.5, 0.5]
    inside = _both(small1.shape, small2.shape, centred)
    rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    if len(rows) < 16 or len(columns) < 16:
        return matrix
    top, bottom, left, right = rows[0], rows[-1] + 1, columns[0], columns[-1] + 1
    part = np.ascontiguousarray(small1[top:bottom, left:right])
    shifted = centred.copy()
    shifted[:, 2] -= [left, top]
    back = cv2.invertAffineTransform(shifted).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
    try:
        # the mask may be None, which the library's stub knows only without the last argument
        _, back = cv2.findTransformECC(  # type: ignore[call-overload]
            part, small2, back, cv2.MOTION_EUCLIDEAN, criteria, None, 3
        )
    except cv2.error:  # it did not converge
        return matrix
    better = cv2.invertAffineTransform(back.astype(np.float64))
    better[:, 2] += [left, top]
    better[:, 2] = (better[:, 2] + 0.5 - better[:, :2] @ [0.5, 0.5]) / factor
    near = np.abs(better[:, 2] - matrix[:, 2]).max() < 12.0 / factor
    return better if near and _plausible(better) else matrix


def _both(shape1: tuple[int, int], shape2: tuple[int, int], centred: np.ndarray) -> np.ndarray:
    """Mask (M, N) of bool, in the first picture, of what both show."""
    ones = np.ones(shape2, np.uint8)
    return cv2.warpAffine(ones, centred, shape1[::-1], flags=cv2.INTER_NEAREST).astype(bool)


def _agreement(one: np.ndarray, two: np.ndarray, matrix: np.ndarray) -> tuple[float, float, float]:
    """Share of the first field both show, correlation there, and disagreement of local shifts in px."""
    share, correlation, inside, moved = _shared(one, two, matrix)
    return share, correlation, _local_shift(one, moved, inside) if inside.sum() >= 400 else float("nan")


def _shared(
    one: np.ndarray, two: np.ndarray, matrix: np.ndarray
) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Share of the first picture both show, correlation there, where that is, and the second laid on it."""
    centred = matrix.copy()
    centred[:, 2] += matrix[:, :2] @ [0.5, 0.5] - 0.5
    inside = cv2.erode(_both(one.shape, two.shape, centred).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    moved = cv2.warpAffine(two, centred, one.shape[::-1])
    share = float(inside.mean())
    if inside.sum() < 400:
        return share, 0.0, inside, moved
    a, b = one[inside], moved[inside]
    a, b = a - a.mean(), b - b.mean()
    norm = float(np.sqrt((a**2).sum() * (b**2).sum()))
    return share, float((a * b).sum() / max(norm, 1e-9)), inside, moved


def _elsewhere(one: np.ndarray, two: np.ndarray, matrix: np.ndarray) -> float:
    """Correlation of two fields where they overlap, without the one place that agrees best."""
    _, _, inside, moved = _shared(one, two, matrix)
    rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    own = inside[box]
    cell = max(8, max(own.shape) // _CELLS)
    # without the wide glow that evening the light leaves about a dark place
    a, b = (
        np.where(own, part[box] - cv2.GaussianBlur(part[box], (0, 0), cell / 3), 0.0) for part in (one, moved)
    )
    first, second, common = (_in_cells(product, cell) for product in (a * a, b * b, a * b))
    held = (common > _OF_PLACE * max(float(common.sum()), 1e-9)).view(np.uint8)
    _, places = cv2.connectedComponents(held, connectivity=8)
    best = places[np.unravel_index(int(common.argmax()), common.shape)]
    # its border may lie in the cells beside it
    rest = cv2.dilate((places == best).view(np.uint8), np.ones((3, 3), np.uint8)) == 0
    norm = float(np.sqrt(first[rest].sum() * second[rest].sum()))
    return float(common[rest].sum()) / max(norm, 1e-9)


def _in_cells(values: np.ndarray, cell: int) -> np.ndarray:
    """Sums over square cells, the last ones perhaps smaller."""
    down, across = (np.arange(0, side, cell) for side in values.shape)
    sums: np.ndarray = np.add.reduceat(np.add.reduceat(values, down, axis=0), across, axis=1)
    return sums


def _local_shift(one: np.ndarray, moved: np.ndarray, inside: np.ndarray, cell: int = 128) -> float:
    """Root mean square of what is left to shift in cells of the overlap, px; nan where none tells."""
    shifts = []
    window = cv2.createHanningWindow((cell, cell), cv2.CV_32F)
    for top in range(0, one.shape[0] - cell + 1, cell):
        for left in range(0, one.shape[1] - cell + 1, cell):
            part = np.s_[top : top + cell, left : left + cell]
            if not inside[part].all() or one[part].std() < 4.0:
                continue
            (dx, dy), trust = cv2.phaseCorrelate(moved[part].copy(), one[part].copy(), window)
            if trust > 0.3 and np.hypot(dx, dy) < 4.0:
                shifts.append(dx**2 + dy**2)
    return float(np.sqrt(np.mean(shifts))) if shifts else float("nan")
