"""Real pictures with hand-placed centres, changed as cameras and files change them: cells must stay cells.

    python tests/benchmarks/perturbed.py [change ...]

The blood films are read from the folder GRITLINE_DATA or ../shared/data. For each film and change: centres
that have an outline of their own, out of all marked; centres that share one; centres without; median diameter
in px of the unchanged picture. Cells without a mark are common in these films, so outlines without a centre
are not counted here.
"""

import os
import sys
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.picture_file import read_picture

FILMS = (94, 314, 331, 721, 64)
SMALLEST_PX = 15.7  # 3 um at the scale of film 94


def _uneven(pixels: np.ndarray) -> np.ndarray:
    rows, cols = pixels.shape[:2]
    y, x = np.mgrid[:rows, :cols]
    light = (0.55 + 0.45 * x / cols) * (0.8 + 0.2 * np.cos(3 * y / rows))
    return np.clip(pixels * light[..., None], 0, 255).astype(np.uint8)


def _compressed(pixels: np.ndarray) -> np.ndarray:
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 40])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]


def _noisy(pixels: np.ndarray) -> np.ndarray:
    noise = np.random.default_rng(0).normal(0, 8, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def _grey(pixels: np.ndarray) -> np.ndarray:
    return np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)


def _sized(factor: float, how: int):
    return lambda pixels: cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=how)


def _strung(pixels: np.ndarray) -> np.ndarray:
    """Six thin threads from edge to edge."""
    strung, places = pixels.copy(), np.random.default_rng(1).integers(0, pixels.shape[1], (6, 2)).tolist()
    for top, bottom in places:
        cv2.line(strung, (top, 0), (bottom, pixels.shape[0]), (90, 90, 90), 1, cv2.LINE_AA)
    return strung


# name -> (factor of size, change)
CHANGES = {
    "as it is": (1.0, lambda pixels: pixels),
    "twice the size": (2.0, _sized(2.0, cv2.INTER_CUBIC)),
    "0.6 of the size": (0.6, _sized(0.6, cv2.INTER_AREA)),
    "0.4 of the size": (0.4, _sized(0.4, cv2.INTER_AREA)),
    "0.3 of the size": (0.3, _sized(0.3, cv2.INTER_AREA)),
    "light and dark swapped": (1.0, lambda pixels: 255 - pixels),
    "uneven light": (1.0, _uneven),
    "JPEG quality 40": (1.0, _compressed),
    "blur of 2 px": (1.0, lambda pixels: cv2.GaussianBlur(pixels, (0, 0), 2)),
    "noise of 8 steps": (1.0, _noisy),
    "half the values": (1.0, lambda pixels: (pixels * 0.5).astype(np.uint8)),
    "grey": (1.0, _grey),
    "quarter of the contrast": (1.0, lambda pixels: (pixels * 0.25 + 150).astype(np.uint8)),
    "bright on dark": (1.0, lambda pixels: (20 + 90 * (1 - pixels / 255.0) ** 1.5).astype(np.uint8)),
    "threads across": (1.0, _strung),
    "haze": (1.0, lambda pixels: np.clip(pixels * 0.6 + 90, 0, 255).astype(np.uint8)),
}


def judged(picture: Picture, centres: np.ndarray, factor: float) -> tuple[int, int, int, float]:
    """Centres alone, sharing, without an outline, and the median diameter in px of the unchanged picture."""
    particles = measure_field(picture, FieldSettings(smallest_um=SMALLEST_PX * factor), 1.0).particles
    kept = np.flatnonzero(particles["set_aside"] == "")
    inside = np.zeros((len(centres), len(kept)), bool)
    for j, i in enumerate(kept):
        outline = particles.outlines[i].reshape(-1, 1, 2)
        for k, (x, y) in enumerate(centres * factor):
            inside[k, j] = cv2.pointPolygonTest(outline, (float(x), float(y)), False) > 0
    owners = inside.sum(axis=1)
    alone = int(((owners == 1) & inside[:, inside.sum(axis=0) == 1].any(axis=1)).sum())
    without = int((owners == 0).sum())
    diameter = float(np.median(particles.diameter_px[kept])) / factor
    return alone, len(centres) - alone - without, without, diameter


def main() -> None:
    """Print the table."""
    cv2.setNumThreads(1)
    data = os.environ.get("GRITLINE_DATA")
    folder = (
        Path(data) if data else Path(__file__).resolve().parents[3] / "shared" / "data"
    ) / "blood_film_scalebar"
    print(f"{'change':24s}" + "".join(f"{f'film {n}':>24s}" for n in FILMS))
    print(f"{'':24s}" + f"{'alone share none   px':>24s}" * len(FILMS))
    for name in sys.argv[1:] or CHANGES:
        factor, change = CHANGES[name]
        line = f"{name:24s}"
        for number in FILMS:
            pixels = np.ascontiguousarray(change(read_picture(folder / f"{number}.jpg").pixels))
            centres = np.loadtxt(folder / f"{number}_centres.txt", usecols=(0, 1))
            alone, shared, without, diameter = judged(Picture(pixels, name=str(number)), centres, factor)
            line += f"{f'{alone}/{len(centres)} {shared:3d} {without:3d} {diameter:6.1f}':>24s}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
