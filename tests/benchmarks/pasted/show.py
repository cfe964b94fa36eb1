"""Sheets for the eye: the stored outlines on their pictures, and the faults of a measured field.

``GRITLINE_DATA=... python -m tests.benchmarks.pasted.show DIR`` writes a sheet for each source.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from .sources import HERE, picture

SIDE_PX = 200
COLUMNS = 8
REACH_PX = 60  # of the picture round a fault


def outlines_sheet(name: str) -> np.ndarray:
    """Every cut-out of a source with its outline in green, (M, N, 3) uint8 RGB."""
    stored = json.loads((HERE / f"{name}.json").read_text())
    reduced = float(stored["reduced"])
    pixels = picture(stored["picture"], reduced)
    return _tiled([_cut_out(pixels, np.array(o, float) * reduced) for o in stored["outlines_px"]], COLUMNS)


def _cut_out(pixels: np.ndarray, outline: np.ndarray) -> np.ndarray:
    low, high = outline.min(axis=0) - 5, outline.max(axis=0) + 5
    scale = SIDE_PX / float((high - low).max())
    matrix = np.column_stack([scale * np.eye(2), (0.5 - low) * scale - 0.5])
    tile = cv2.warpAffine(pixels, matrix, (SIDE_PX, SIDE_PX), flags=cv2.INTER_CUBIC)
    points = np.round(((outline - low) * scale - 0.5) * 16).astype(np.int32)
    cv2.polylines(tile, [points], True, (0, 255, 0), 1, cv2.LINE_AA, 4)
    return tile


def faults_sheet(
    pixels: np.ndarray, marked: np.ndarray, faults: list[tuple[str, float, float]]
) -> np.ndarray:
    """Each fault (what, x, y) twice: as it looks, and from ``marked``, which is twice as large."""
    tiles = []
    for what, x, y in faults:
        pair = [_around(image, x * k, y * k, REACH_PX * k) for k, image in ((1, pixels), (2, marked))]
        pair[0] = cv2.resize(pair[0], pair[1].shape[1::-1], interpolation=cv2.INTER_CUBIC)
        tile = np.hstack(pair)
        text = f"{what} {x:.0f},{y:.0f}"
        cv2.putText(tile, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (255, 0, 0), 1, cv2.LINE_AA)
        tiles.append(cv2.copyMakeBorder(tile[1:-1, 1:-1], 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=(255,) * 3))
    return _tiled(tiles, 4)


def _around(image: np.ndarray, x: float, y: float, reach: int) -> np.ndarray:
    wide = cv2.copyMakeBorder(image, reach, reach, reach, reach, cv2.BORDER_CONSTANT)
    return wide[int(y) : int(y) + 2 * reach, int(x) : int(x) + 2 * reach]


def _tiled(tiles: list[np.ndarray], columns: int) -> np.ndarray:
    empty = np.zeros_like(tiles[0])
    tiles = tiles + [empty] * (-len(tiles) % columns)
    return np.vstack([np.hstack(tiles[i : i + columns]) for i in range(0, len(tiles), columns)])


def main() -> None:
    """Write the sheets of all sources."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(HERE.glob("*.json")):
        cv2.imwrite(str(folder / f"{path.stem}.png"), outlines_sheet(path.stem)[..., ::-1])


if __name__ == "__main__":
    main()
