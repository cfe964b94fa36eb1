"""Several pictures of one field, focused at different heights, made into one sharp picture."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.field.several.repeats import grey_of
from measure.model import Picture
from measure.progress import SILENT, Progress

_ALIGN_PX = 1000  # alignment works on copies about this long
_MOST_GROWTH = 0.05
_MOST_SHIFT = 0.05  # of the picture's longer side


@dataclass(frozen=True)
class Fused:
    """A sharp field made from a stack.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
    chosen : (M, N) ndarray of uint8
        Which picture each pixel came from.
    matrices : tuple of (2, 3) ndarray
        Takes x, y px of each picture to the fused one.
    reference : int
        Place of the picture the others were laid on: it kept its scale.
    growth : tuple of float
        Magnification of each picture against the reference, which alignment took out.
    """

    pixels: np.ndarray
    chosen: np.ndarray
    matrices: tuple[np.ndarray, ...]
    reference: int
    growth: tuple[float, ...]


def fuse_stack(pictures: Sequence[Picture], progress: Progress = SILENT) -> Fused:
    """Fuse a stack.

    Pictures are laid on the middle one by a similarity (shift, turn and change of magnification) that
    maximises their correlation (Evangelidis and Psarakis 2008). Each pixel is taken from the picture in
    which the edges about it are sharpest, at several reaches: near an edge the picture that shows that edge
    sharply wins also beside it, so that the soft surround of the other pictures leaves no halo.

    Parameters
    ----------
    pictures : sequence of Picture
        At least two, equally large, in the order they were taken from bottom to top or back.
    progress : Progress

    Returns
    -------
    Fused

    Raises
    ------
    InvalidInput
        If there are fewer than two, sizes differ, or a picture shows another place.
    """
    if len(pictures) < 2:
        raise InvalidInput("Fusing needs at least two pictures of the same field at different heights.")
    first = pictures[0]
    for other in pictures[1:]:
        if other.pixels.shape != first.pixels.shape:
            raise InvalidInput(
                f"{other.name} is not of the same size as {first.name}; choose pictures of one field."
            )
    reference = len(pictures) // 2
    matrices, moved, seen = _aligned(pictures, reference, progress)
    progress.report(0.6, "choosing the sharpest")
    weights, chosen = _choice(moved, seen)
    pixels = np.zeros(first.pixels.shape, np.float32)
    for weight, picture in zip(weights, moved, strict=True):
        pixels += weight[..., None] * picture
    growth = tuple(float(np.hypot(m[0, 0], m[1, 0])) for m in matrices)
    fused = np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
    return Fused(fused, chosen, tuple(matrices), reference, tuple(1.0 / g for g in growth))


def _aligned(
    pictures: Sequence[Picture], reference: int, progress: Progress
) -> tuple[list[np.ndarray], list[np.ndarray], list[np.ndarray]]:
    greys = [grey_of(picture) for picture in pictures]
    factor = min(1.0, _ALIGN_PX / max(greys[0].shape))
    small = [cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) for grey in greys]
    matrices: list[np.ndarray] = [np.eye(2, 3)] * len(pictures)
    # from the reference outwards: neighbours look most alike
    for way in (range(reference - 1, -1, -1), range(reference + 1, len(pictures))):
        start = np.eye(2, 3)
        for place in way:
            progress.report(0.5 * place / len(pictures), f"aligning {pictures[place].name}")
            start = _one_aligned(small[reference], small[place], start, pictures[place].name)
            matrices[place] = _full_size(start, factor)
    rows, columns = greys[0].shape
    level = [np.median(p.pixels[::7, ::7].reshape(-1, 3), axis=0).astype(np.float32) for p in pictures]
    moved, seen = [], []
    for picture, matrix, colour in zip(pictures, matrices, level, strict=True):
        shown = picture.pixels.astype(np.float32) / np.float32(np.iinfo(picture.pixels.dtype).max / 255.0)
        own = level[reference] / np.maximum(colour, 1e-6)  # the oil as bright in all of them
        shown = shown * own.astype(np.float32)
        plain = bool(np.allclose(matrix, np.eye(2, 3)))
        centred = matrix.copy()
        centred[:, 2] += matrix[:, :2] @ [0.5, 0.5] - 0.5
        moved.append(
            shown if plain else cv2.warpAffine(shown, centred, (columns, rows), flags=cv2.INTER_CUBIC)
        )
        seen.append(cv2.warpAffine(np.ones((rows, columns), np.float32), centred, (columns, rows)) > 0.999)
    return matrices, moved, seen


def _one_aligned(target: np.ndarray, grey: np.ndarray, start: np.ndarray, name: str) -> np.ndarray:
    """Matrix from ``grey`` to ``target``, pixel centres; nearest similarity of the best affine map."""
    back = cv2.invertAffineTransform(start).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 80, 1e-5)
    try:
        # the mask may be None, which the library's stub knows only without the last argument
        alike, back = cv2.findTransformECC(  # type: ignore[call-overload]
            target, grey, back, cv2.MOTION_AFFINE, criteria, None, 7
        )
    except cv2.error:
        alike = 0.0
    matrix = _similarity(cv2.invertAffineTransform(back.astype(np.float64)), target.shape)
    growth = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    middle = np.array([target.shape[1], target.shape[0]]) / 2
    shift = float(np.abs(matrix[:, :2] @ middle + matrix[:, 2] - middle).max())
    if alike < 0.5 or abs(growth - 1) > _MOST_GROWTH or shift > _MOST_SHIFT * max(target.shape):
        raise InvalidInput(
            f"{name} does not show the same place as the others; choose pictures of one field, taken "
            "without moving the slide."
        )
    return matrix


def _similarity(matrix: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Nearest shift, turn and magnification, the middle kept in place."""
    a = (matrix[0, 0] + matrix[1, 1]) / 2
    b = (matrix[1, 0] - matrix[0, 1]) / 2
    turn = np.array([[a, -b], [b, a]])
    middle = np.array([shape[1], shape[0]]) / 2
    there = matrix[:, :2] @ middle + matrix[:, 2]
    return np.column_stack([turn, there - turn @ middle])


def _full_size(matrix: np.ndarray, factor: float) -> np.ndarray:
    half = np.array([0.5, 0.5])
    return np.column_stack([matrix[:, :2], (matrix[:, 2] + half - matrix[:, :2] @ half) / factor])


def _sharpness(picture: np.ndarray) -> np.ndarray:
    """Energy of fine detail at two scales, (M, N) float32."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    energy = np.zeros(grey.shape, np.float32)
    for sigma in (1.0, 2.0):
        smooth = cv2.GaussianBlur(grey, (0, 0), sigma)
        energy += sigma**2 * (
            cv2.Sobel(smooth, cv2.CV_32F, 1, 0) ** 2 + cv2.Sobel(smooth, cv2.CV_32F, 0, 1) ** 2
        )
    # the square favours few steep pixels over many flat ones: a soft edge has as much slope, spread out
    return energy**2


def _choice(
    pictures: Sequence[np.ndarray], seen: Sequence[np.ndarray]
) -> tuple[list[np.ndarray], np.ndarray]:
    votes = []
    for picture, shown in zip(pictures, seen, strict=True):
        energy = _sharpness(picture)
        energy[~shown] = 0.0
        vote = np.zeros_like(energy)
        # further edges count ever less: they decide only where none is near
        for reach, share in ((4.0, 1.0), (10.0, 0.05), (25.0, 0.002)):
            vote += np.float32(share) * cv2.GaussianBlur(energy, (0, 0), reach)
        vote[~shown] = -1.0
        votes.append(vote)
    chosen: np.ndarray = np.argmax(votes, axis=0).astype(np.uint8)
    chosen = cv2.medianBlur(chosen, 5)
    weights = [cv2.GaussianBlur((chosen == i).astype(np.float32), (0, 0), 1.5) for i in range(len(pictures))]
    weights = [weight * shown for weight, shown in zip(weights, seen, strict=True)]
    total = np.maximum(np.sum(weights, axis=0), 1e-6)
    return [weight / total for weight in weights], chosen
