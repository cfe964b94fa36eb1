"""Drawn fields of any size for the speed benchmarks, kept in the temporary folder from run to run."""

import tempfile
from dataclasses import replace
from pathlib import Path

import cv2

from measure.render import render_field
from measure.render.recipe import Arrangement, Recipe, Sizes

UM_PER_PX = 0.65


def kept_folder() -> Path:
    """Folder the drawn pictures stay in."""
    folder = Path(tempfile.gettempdir()) / "gritline-drawn-fields"
    folder.mkdir(exist_ok=True)
    return folder


def drawn_field(megapixels: float, pieces: int, seed: int = 1) -> Path:
    """Return a drawn field of that size with about that many pieces as a PNG file.

    Large pictures are laid out of turned and mirrored tiles of at most 2.3 Mpx, which draws them in seconds.
    """
    path = kept_folder() / f"field-{megapixels:g}-{pieces}-{seed}.png"
    if path.exists():
        return path
    height = round((megapixels * 1e6 / 1.5) ** 0.5)
    width = round(1.5 * height)
    tiles = max(1, round((megapixels / 2.2) ** 0.5))
    tile = _tile(-(-width // tiles), -(-height // tiles), max(1, round(pieces / tiles**2)), seed)
    rows = []
    for row in range(tiles):
        # neighbours are mirror images, so that light and noise run on over the seams
        turned = [tile[:: -1 if row % 2 else 1, :: -1 if column % 2 else 1] for column in range(tiles)]
        rows.append(cv2.hconcat([cv2.cvtColor(t.copy(), cv2.COLOR_RGB2BGR) for t in turned]))
    cv2.imwrite(str(path), cv2.vconcat(rows)[:height, :width])
    return path


def _tile(width: int, height: int, pieces: int, seed: int) -> "cv2.typing.MatLike":
    # the pieces shrink where they would cover more than a twelfth of the picture
    room = (width * height / pieces / 12) ** 0.5
    median_um = min(28.0, max(8.0, 1.2 * room * UM_PER_PX))
    recipe = Recipe(
        name="speed",
        width_px=width,
        height_px=height,
        um_per_px=UM_PER_PX,
        sizes=Sizes(median_um, 1.5, 5.0, 120.0),
        arrangement=Arrangement(pieces=pieces, touch_share=0.25, gap_px=3.0),
    )
    return render_field(replace(recipe), seed).pixels
