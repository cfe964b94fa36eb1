"""Outlines for other programs: COCO JSON, GeoJSON, and label images as TIFF."""

import json
from pathlib import Path

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS, Kind
from measure.particles import Particles
from measure.safe_write import write_text, written_beside
from measure.sizes.particle_table import Table

_DECIMALS = 3
# read by every program that knows pixel sizes in centimetres
_UM_PER_CM = 10_000.0
_COLUMNS = (
    "batch", "field", "particle", "kind", "counted", "set_aside_reason", "area_um2",
    "area_equivalent_diameter_um", "feret_max_um", "feret_min_um", "perimeter_um", "circularity",
    "volume_um3", "frame_weight", "doubt", "size_uncertainty_um", "um_per_px",
)  # fmt: skip


def geojson(table: Table, outlines: tuple[np.ndarray, ...]) -> dict:
    """Return outlines as a GeoJSON FeatureCollection (RFC 7946), coordinates in px, y downwards.

    Parameters
    ----------
    table : Table
        One row an outline; its columns in um become the properties.
    outlines : tuple of (P, 2) ndarray
        Closed polygons, px.
    """
    names = [name for name in _COLUMNS if name in table]
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Polygon", "coordinates": [_ring(outline)]},
            "properties": {name: _plain(table[name][row]) for name in names},
        }
        for row, outline in enumerate(outlines)
    ]
    about = "coordinates in px of the upright picture, the corner of the first pixel is 0, 0, y downwards"
    return {"type": "FeatureCollection", "coordinate_meaning": about, "features": features}


def _ring(outline: np.ndarray) -> list[list[float]]:
    points = np.round(np.asarray(outline, dtype=float), _DECIMALS)
    x, y = points[:, 0], points[:, 1]
    if float(x @ np.roll(y, -1) - np.roll(x, -1) @ y) < 0:
        points = points[::-1]  # an outer ring runs with its inside to the left
    return np.vstack([points, points[:1]]).tolist()


def coco(pictures: list[dict]) -> dict:
    """Return outlines in the COCO format of object instances, px.

    Parameters
    ----------
    pictures : list of dict
        Each with ``name``, ``width_px``, ``height_px``, ``um_per_px``, ``table`` and ``outlines``.
    """
    images: list[dict] = []
    annotations: list[dict] = []
    for number, p in enumerate(pictures, start=1):
        images.append(
            {
                "id": number, "file_name": p["name"], "width": p["width_px"], "height": p["height_px"],
                "um_per_px": p["um_per_px"],
            }
        )  # fmt: skip
        for row, outline in enumerate(p["outlines"]):
            annotations.append(_annotation(len(annotations) + 1, number, p["table"], row, outline))
    categories = [{"id": code + 1, "name": kind.value} for code, kind in enumerate(KINDS)]
    return {"images": images, "annotations": annotations, "categories": categories}


def _annotation(number: int, image: int, table: Table, row: int, outline: np.ndarray) -> dict:
    points = np.round(np.asarray(outline, dtype=float), _DECIMALS)
    low, high = points.min(axis=0), points.max(axis=0)
    um = float(table["um_per_px"][row])
    return {
        "id": number, "image_id": image, "category_id": KINDS.index(Kind(str(table["kind"][row]))) + 1,
        "segmentation": [points.ravel().tolist()],
        "area": float(table["area_um2"][row]) / um**2,
        "bbox": [*low.tolist(), *np.round(high - low, _DECIMALS).tolist()],
        "iscrowd": 0, "particle": int(table["particle"][row]), "counted": int(table["counted"][row]),
    }  # fmt: skip


def _plain(value: object) -> object:
    if isinstance(value, (np.integer, int)):
        return int(value)
    if isinstance(value, (np.floating, float)):
        return float(value) if np.isfinite(value) else None
    return str(value)


def write_json(path: Path, value: dict) -> None:
    """Write a value as JSON, whole or not at all."""
    write_text(path, json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n")


def label_image(particles: Particles, width_px: int, height_px: int) -> np.ndarray:
    """Return a picture whose pixels hold the number of the particle they belong to, 0 for oil.

    A pixel belongs to a particle when its centre lies inside the outline; where two overlap, to the smaller.

    Returns
    -------
    (height, width) ndarray
        uint16, or uint32 where a number is above 65535.
    """
    import cv2

    labels = particles["label"].astype(np.int64)
    image = np.zeros((height_px, width_px), dtype=np.int32)
    for i in np.argsort(-particles["area_px2"], kind="stable"):
        outline = particles.outlines[i]
        low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 1, 0)
        high = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 1, (width_px, height_px))
        if (high <= low).any():
            continue
        inside = _inside(outline - low, high - low)
        image[low[1] : high[1], low[0] : high[0]][inside] = labels[i]
        if not inside.any():  # thinner than a pixel: the one it lies in
            x, y = np.clip(outline.mean(axis=0).astype(int), 0, (width_px - 1, height_px - 1))
            cv2.circle(image, (int(x), int(y)), 0, int(labels[i]), -1)
    return image.astype(np.uint32 if labels.size and labels.max() > 65_535 else np.uint16)


def _inside(outline: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Return which pixel centres of a patch lie inside a polygon, by even and odd crossings."""
    width, height = int(size[0]), int(size[1])
    x0, y0 = np.asarray(outline, dtype=float).T
    x1, y1 = np.roll(x0, -1), np.roll(y0, -1)
    centres = np.arange(height) + 0.5
    inside = np.zeros((height, width), dtype=bool)
    for row, y in enumerate(centres):
        hit = (y0 <= y) != (y1 <= y)
        at = np.sort(x0[hit] + (y - y0[hit]) / (y1[hit] - y0[hit]) * (x1[hit] - x0[hit]))
        edges = np.searchsorted(at, np.arange(width) + 0.5)
        inside[row] = edges % 2 == 1
    return inside


def write_labels(path: Path, image: np.ndarray, um_per_px: float) -> None:
    """Write a label image as TIFF with the pixel size in its resolution tags.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    import tifffile

    if not um_per_px > 0:
        raise InvalidInput("A label image needs a scale above 0 µm per px.")
    per_cm = _UM_PER_CM / um_per_px
    with written_beside(path) as beside:
        tifffile.imwrite(
            beside, image, photometric="minisblack", compression="zlib", resolution=(per_cm, per_cm),
            resolutionunit="CENTIMETER", software="Gritline", metadata=None,
            description=f'{{"um_per_px": {um_per_px!r}, "meaning": "particle numbers, 0 is oil"}}',
        )  # fmt: skip
