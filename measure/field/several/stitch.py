"""Join a walk of overlapping fields into one wide field."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.field.ground.light import prepare
from measure.field.several.repeats import Overlap, find_overlap, may_overlap, sketch
from measure.model import Picture
from measure.progress import SILENT, Progress

_LIMIT_MPX = 200


@dataclass(frozen=True)
class WideField:
    """Fields joined into one.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
        Where nothing was pictured it holds the median colour.
    matrices : tuple of (2, 3) ndarray
        Takes x, y px of each field to the wide one.
    zones : tuple of (P, 2) ndarray
        Polygons nobody pictured; to be left out when it is measured.
    residual_px : float
        Root mean square disagreement of links once all fields have their place; nan where no link closes a
        loop, so that none is checked by another.
    """

    pixels: np.ndarray
    matrices: tuple[np.ndarray, ...]
    zones: tuple[np.ndarray, ...]
    residual_px: float


class Pictures(Protocol):
    """Pictures by their places; a list, or something that decodes each when it is asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, place: int, /) -> Picture: ...


def find_links(pictures: Pictures, progress: Progress = SILENT) -> dict[tuple[int, int], Overlap]:
    """Return the overlaps among pictures, by their places (first, second).

    Parameters
    ----------
    pictures : sequence of Picture
        May decode each picture when it is asked for: small sketches of all are compared first, and only
        pairs that seem to agree are looked at in full.
    progress : Progress
    """
    count, sketches = len(pictures), []
    for place in range(count):
        progress.report(0.3 * place / count, f"looking at picture {place + 1} of {count}")
        sketches.append(sketch(pictures[place]))
    pairs = [(i, j) for i in range(count) for j in range(i + 1, count)]
    links = {}
    for done, (i, j) in enumerate(pairs):
        progress.report(0.3 + 0.7 * done / len(pairs), f"comparing pictures {i + 1} and {j + 1}")
        overlap = find_overlap(pictures[i], pictures[j]) if may_overlap(sketches[i], sketches[j]) else None
        if overlap is not None:
            links[i, j] = overlap
    return links


def join_fields(
    pictures: Sequence[Picture],
    links: dict[tuple[int, int], Overlap] | None = None,
    progress: Progress = SILENT,
) -> WideField:
    """Join overlapping fields; the first one keeps its place and direction.

    Every link pulls on the places of its two fields by least squares, so that errors do not pile up along
    the walk. Seams run where the fields' own borders are furthest away. Each field's own light is taken out
    and its oil made as bright as the first field's, so that no seam shows.

    Parameters
    ----------
    pictures : sequence of Picture
        At least two, at one zoom.
    links : mapping, optional
        From `find_links`.
    progress : Progress

    Raises
    ------
    InvalidInput
        If a field overlaps none of the others, or the wide field would be too large.
    """
    if len(pictures) < 2:
        raise InvalidInput("Joining needs at least two fields that overlap; choose more.")
    links = find_links(pictures, progress) if links is None else links
    matrices, residual = place_fields(pictures, links)
    corners = [_corners(p) @ m[:, :2].T + m[:, 2] for p, m in zip(pictures, matrices, strict=True)]
    low = np.floor(np.min([c.min(axis=0) for c in corners], axis=0))
    size = np.ceil(np.max([c.max(axis=0) for c in corners], axis=0) - low).astype(int)
    if size[0] * size[1] > _LIMIT_MPX * 1e6:
        raise InvalidInput(
            f"The joined field would have {size[0]} x {size[1]} px; join fewer fields at a time."
        )
    for matrix in matrices:
        matrix[:, 2] -= low
    pixels, seen = _blended(pictures, matrices, (int(size[1]), int(size[0])), progress)
    return WideField(pixels, tuple(matrices), _unseen(seen), residual)


def _corners(picture: Picture) -> np.ndarray:
    width, height = picture.width_px, picture.height_px
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)


class Sized(Protocol):
    """Anything with the size of a picture and its name."""

    @property
    def name(self) -> str:
        """Name for sentences."""

    @property
    def width_px(self) -> int:
        """Columns."""

    @property
    def height_px(self) -> int:
        """Rows."""


def linked_groups(count: int, links: Collection[tuple[int, int]]) -> list[list[int]]:
    """Return the places of fields that hang together by links, each group rising; single ones left out.

    Examples
    --------
    >>> linked_groups(5, [(0, 2), (2, 3)])
    [[0, 2, 3]]
    """
    group = list(range(count))
    for i, j in links:
        low, high = sorted((group[i], group[j]))
        group = [low if g == high else g for g in group]
    found = [[i for i in range(count) if group[i] == g] for g in sorted(set(group))]
    return [one for one in found if len(one) > 1]


def place_fields(
    pictures: Sequence[Sized], links: Mapping[tuple[int, int], Overlap]
) -> tuple[list[np.ndarray], float]:
    """Find the place of every field by least squares over all links: turn first, then shift.

    Parameters
    ----------
    pictures : sequence
        Their sizes and names.
    links : mapping of (first, second) to Overlap

    Returns
    -------
    (list of (2, 3) ndarray, float)
        What takes x, y px of each field to those of the first one, and the root mean square disagreement
        of the links, px; nan where none is checked by another.

    Raises
    ------
    InvalidInput
        If a field hangs together with none of the others.
    """
    count = len(pictures)
    _refuse_loose(pictures, links)
    rows, angles = [], []
    for (i, j), link in links.items():
        row = np.zeros(count)
        row[j], row[i] = 1.0, -1.0
        rows.append(row)
        angles.append(np.radians(link.angle_deg))
    system = np.array(rows)[:, 1:]
    turn = np.concatenate([[0.0], np.linalg.lstsq(system, np.array(angles), rcond=None)[0]])
    shifts = []
    for (i, j), link in links.items():
        middle = np.array([pictures[j].width_px, pictures[j].height_px]) / 2
        there = link.moved(middle[None])[0]  # the middle of j in px of i
        shifts.append(_turned(turn[i]) @ there - _turned(turn[j]) @ middle)
    place = np.linalg.lstsq(system, np.array(shifts), rcond=None)[0]
    place = np.vstack([[0.0, 0.0], place])
    left = np.array(rows) @ place - np.array(shifts)
    matrices = [np.column_stack([_turned(turn[i]), place[i]]) for i in range(count)]
    checked = len(links) > count - 1
    return matrices, float(np.sqrt((left**2).sum(axis=1).mean())) if checked else float("nan")


def _turned(angle: float) -> np.ndarray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _refuse_loose(pictures: Sequence[Sized], links: Collection[tuple[int, int]]) -> None:
    reached, grown = {0}, True
    while grown:
        new = {b for pair in links for a, b in (pair, pair[::-1]) if a in reached}
        grown = not new <= reached
        reached |= new
    loose = [pictures[i].name or f"picture {i + 1}" for i in range(len(pictures)) if i not in reached]
    if loose:
        raise InvalidInput(
            f"{loose[0]} shows no place that the others show, so it cannot be joined to them; leave it "
            "out, or take the fields with a quarter of overlap."
        )


def _blended(
    pictures: Sequence[Picture], matrices: Sequence[np.ndarray], shape: tuple[int, int], progress: Progress
) -> tuple[np.ndarray, np.ndarray]:
    """Lay each field where its own border is furthest away; return pixels and what was pictured."""
    pixels = np.zeros((*shape, 3), np.uint8)
    depth = np.zeros(shape, np.float32)
    oil: np.ndarray | None = None
    for done, (picture, matrix) in enumerate(zip(pictures, matrices, strict=True)):
        progress.report(done / len(pictures), f"joining {picture.name}")
        centred = matrix.copy()
        centred[:, 2] += matrix[:, :2] @ [0.5, 0.5] - 0.5
        even, oil = _evened(picture, oil)
        moved = cv2.warpAffine(even, centred, shape[::-1], flags=cv2.INTER_CUBIC)
        own = np.zeros((picture.height_px + 2, picture.width_px + 2), np.uint8)
        own[1:-1, 1:-1] = 1
        border = cv2.distanceTransform(own, cv2.DIST_L2, 3)[1:-1, 1:-1]
        inner = cv2.warpAffine(border, centred, shape[::-1], flags=cv2.INTER_LINEAR)
        better = inner > depth
        pixels[better] = np.clip(np.rint(moved[better]), 0, 255).astype(np.uint8)
        depth[better] = inner[better]
    seen = depth > 0
    if not seen.all():
        pixels[~seen] = np.median(pixels[seen][::97], axis=0).astype(np.uint8)
    return pixels, seen


def _evened(picture: Picture, oil: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Return a field with its own light taken out, (M, N, 3) float32 0..255, and the oil it now has."""
    light = prepare(picture)
    coarse = np.maximum(cv2.cvtColor(light.background_lab.astype(np.float32), cv2.COLOR_Lab2RGB), 0.02)
    oil = np.median(coarse.reshape(-1, 3), axis=0) if oil is None else oil
    gain = cv2.resize((oil / coarse).astype(np.float32), picture.pixels.shape[1::-1])
    top = np.float32(np.iinfo(picture.pixels.dtype).max / 255.0)
    return picture.pixels.astype(np.float32) / top * gain, oil


def _unseen(seen: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return polygons around what was not pictured, one pixel too large, so that no seam is measured.

    Worked by quarters: a polygon cannot have a hole, and no blank part of a quarter encloses a field.
    """
    blank = cv2.dilate((~seen).astype(np.uint8), np.ones((3, 3), np.uint8))
    rows, columns = (blank.shape[0] // 2, blank.shape[1] // 2)
    zones = []
    for top, left in ((0, 0), (0, columns), (rows, 0), (rows, columns)):
        part = blank[top : top + rows + 1, left : left + columns + 1]
        contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        zones += [
            cv2.approxPolyDP(contour, 0.4, True).reshape(-1, 2) + np.array([left, top]) + 0.5
            for contour in contours
            if cv2.contourArea(contour) >= 16
        ]
    return tuple(zones)
