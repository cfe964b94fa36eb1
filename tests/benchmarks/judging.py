"""What judges of fields with looks share: outlines of masks, why a piece was missed, pictures, the run."""

import argparse
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np
from shapely import STRtree
from shapely.geometry import Polygon
from skimage.measure import find_contours

_MOST = 0.6  # share of a piece or a find within another, from which it lies mostly there

Field = dict[str, list]


def outline_of_mask(mask: np.ndarray, left: int = 0, top: int = 0) -> Polygon:
    """Outline of the largest part of a mask with holes filled; ``left`` and ``top`` place it in the field."""
    lines = find_contours(np.pad(mask, 1).astype(float), 0.5)
    parts = [Polygon(line[:, ::-1] - 0.5 + [left, top]).buffer(0) for line in lines if len(line) > 3]
    return max(parts, key=lambda part: part.area, default=Polygon())


def diameter_px(shape: Polygon) -> float:
    """Area-equivalent diameter."""
    return float(np.sqrt(4 * shape.area / np.pi))


def why_missed(true: list[Polygon], found: list[Polygon], i: int) -> str:
    """Why a piece was missed, "merged" or "split", as far as outlines tell it."""
    if not found:
        return ""
    near = [found[j] for j in STRtree(found).query(true[i], "intersects")]
    tree = STRtree(true)
    for shape in near:
        beside = tree.query(shape, "intersects").tolist()
        held = {k for k in beside if true[k].intersection(shape).area > _MOST * true[k].area}
        if i in held and len(held) > 1:
            return "merged"
    inside = [s for s in near if s.intersection(true[i]).area > _MOST * s.area]
    return "split" if len(inside) > 1 else ""


def write_marked(pixels: np.ndarray, missed: list, false: list, found: list, file: Path) -> None:
    """Write a picture, blue first or grey, at twice the size; found green, missed red, false purple."""
    big = cv2.resize(pixels, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    for shapes, colour in ((found, (0, 160, 0)), (false, (255, 0, 255)), (missed, (0, 0, 255))):
        for shape in shapes:
            for part in getattr(shape, "geoms", [shape]):
                points = [np.round(2 * np.array(part.exterior.coords)).astype(np.int32)]
                cv2.polylines(big, points, True, colour, 1, cv2.LINE_AA)
    file.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(file), big)


def run(
    says: str | None,
    looks: Sequence[str],
    held: Sequence[str],
    seeds: Mapping[str, Sequence[int]],
    judged: Callable[[str, int, Path | None], Field],
    head: str,
    line: Callable[[str, list[Field]], str],
) -> None:
    """Read the options and print the table.

    Parameters
    ----------
    says : str
        What the command does.
    looks, held : sequence of str
        Tuned and held looks. Held ones are drawn with report seeds only, and those are not shown.
    seeds : mapping
        Of "tune" and "report".
    judged : callable
        Judges one field of a look and a seed, and writes a marked picture into a folder if one is given.
    head : str
        Head of the table.
    line : callable
        A line of it, from a name and judged fields.
    """
    parser = argparse.ArgumentParser(description=says, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", choices=seeds, default="tune")
    parser.add_argument("--only", help="look or looks with commas")
    parser.add_argument("--show", type=Path, help="folder for pictures of the faults, tune seeds only")
    options = parser.parse_args()
    report = options.seeds == "report"
    if report and options.show:
        parser.error("Report seeds are not looked at: leave out --show, or take --seeds tune.")
    every = [*looks, *(held if report else ())]
    names = options.only.split(",") if options.only else every
    if wrong := [name for name in names if name not in every]:
        parser.error(f"No look {', '.join(wrong)} with these seeds; there are {', '.join(looks)}.")
    cv2.setNumThreads(1)
    print(head)
    done: dict[str, list[Field]] = {"tuned": [], "held": []}
    for name in names:
        fields = [judged(name, seed, options.show) for seed in seeds[options.seeds]]
        done["held" if name in held else "tuned"] += fields
        print(line(name, fields), flush=True)
    for words, fields in done.items():
        if fields:
            print(line(f"all {words}", fields))
