"""Measure the real pictures with defaults and print what was found beside what a person counts.

Run: python tests/benchmarks/real_pictures.py [folder]. The folder is GRITLINE_DATA or ../shared/data.
Expected numbers are those stated with each picture by its source.
"""

import os
import sys
import time
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.picture_file import read_picture


def _box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


# name, file, zones, smallest size in px (None: the default), number a person counts, and in which unit
CASES = (
    ("blood film, cells", "blood_film_scalebar/94.jpg", (), 15.7, "94 whole"),
    ("candies 54", "candies_and_coins/candies_54.jpg", (), None, "54"),
    ("candies 14", "candies_and_coins/candies_14.png", (), None, "14, 10 whole"),
    ("coins 24", "candies_and_coins/coins_24.png", (), None, "24"),
    ("touching coins", "candies_and_coins/equal_coins_24_touching.jpg", (), None, "24, 21 whole"),
    (
        "micrograph",
        "electron_micrograph_with_mask/image.png",
        (_box(405, 450, 505, 500),),
        None,
        "32, 25 whole",
    ),
    ("lentils 1", "lentils_mm_paper/1.jpg", (), None, "19"),
    ("lentils 40", "lentils_mm_paper/40.jpg", (), None, "23"),
    ("marbles", "marbles_and_colonies/beads.jpg", (), None, "12"),
    ("colonies 1", "marbles_and_colonies/colonies-01.tif", (), None, "8 + 3 at the rim"),
)
DISCS = (5, 7, 10, 15, 30, 55, 90)


def _row(name: str, picture: Picture, zones: tuple, smallest: float | None, expected: str) -> None:
    settings = FieldSettings(smallest_um=smallest)
    started = time.perf_counter()
    result = measure_field(picture, settings, 1.0, zones=zones)
    seconds = time.perf_counter() - started
    particles = result.particles
    diameter = particles.diameter_px
    kept = np.array([why == "" for why in particles["set_aside"]], bool)
    counted = kept & (diameter >= result.smallest_px)
    aside = ~kept & (diameter >= result.smallest_px)
    whole = counted & (particles["flags"] & bits("touches_frame", "meets_zone") == 0)
    low, middle, high = np.percentile(diameter[whole], [5, 50, 95]) if whole.any() else (np.nan,) * 3
    print(
        f"{name:18s} {int(aside.sum()):6d} {int(counted.sum()):7d} {int(whole.sum()):6d}"
        f"  {expected:18s} {middle:8.2f}"
        f" {(high - low) / 2 / middle * 100:7.1f} {seconds:7.2f}"
    )


def _discs(folder: Path, size: int) -> None:
    picture = read_picture(folder / f"A3_Monodisperse_n100_{size}px.tif")
    started = time.perf_counter()
    result = measure_field(picture, FieldSettings(smallest_um=min(10.0, 0.8 * size)), 1.0)
    flags = result.particles["flags"]
    alone = flags & bits("touches_frame", "touching") == 0
    diameter = result.particles.diameter_px[alone]
    bias = 100 * (np.median(diameter) / size - 1)
    spread = 50 * float(np.subtract(*np.percentile(diameter, [95, 5]))) / size
    print(
        f"disc {size:3d} px       {0:6d} {len(flags):7d} {len(diameter):6d}  {'about 100':18s}"
        f" {np.median(diameter):8.2f} {spread:7.1f} {time.perf_counter() - started:7.2f}   bias {bias:+.2f} %"
    )


def _centres(folder: Path, number: int) -> None:
    """How many hand-placed centres lie in an outline of their own, in a shared one, or in none."""
    picture = read_picture(folder / f"{number}.jpg")
    marked = np.loadtxt(folder / f"{number}_centres.txt", usecols=(0, 1))
    result = measure_field(picture, FieldSettings(smallest_um=15.7), 1.0)
    particles = result.particles
    outlines = [o for o, why in zip(particles.outlines, particles["set_aside"], strict=True) if why == ""]
    inside = np.array(
        [
            [cv2.pointPolygonTest(o.reshape(-1, 1, 2), (float(x), float(y)), False) > 0 for o in outlines]
            for x, y in marked
        ]
    )
    owner = inside.sum(axis=1)
    alone = (owner == 1) & (inside[:, inside.sum(axis=0) == 1].any(axis=1))
    empty = int((inside.sum(axis=0) == 0).sum())
    print(
        f"{f'blood film {number}':18s} {len(marked):7d} {int(alone.sum()):6d}"
        f" {int((owner > 0).sum() - alone.sum()):7d} {int((owner == 0).sum()):6d} {empty:9d}"
    )


def main() -> None:
    """Print the tables."""
    cv2.setNumThreads(1)
    named = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("GRITLINE_DATA")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "shared" / "data"
    print(
        f"{'picture':18s} {'aside':>6s} {'counted':>7s} {'whole':>6s}"
        f"  {'expected':18s} {'median':>8s} {'± %':>7s} {'s':>7s}"
    )
    for name, file, zones, smallest, expected in CASES:
        _row(name, read_picture(folder / file), zones, smallest, expected)
    for size in DISCS:
        _discs(folder / "iso_wg_reference_discs", size)
    print("\nhand-placed centres, not all cells have one (outlines without may be right)")
    print(f"{'picture':18s} {'centres':>7s} {'alone':>6s} {'shared':>7s} {'none':>6s} {'unmarked':>9s}")
    for number in (64, 94, 314, 331, 721):
        _centres(folder / "blood_film_scalebar", number)


if __name__ == "__main__":
    main()
