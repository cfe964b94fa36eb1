"""Make the sample pictures: ``python -m measure.render.samples [FOLDER]``.

A small test kitchen grinds a salted hazelnut spread on a three-roll refiner and looks at it after passes
1, 3 and 6. The same command always draws the same pictures.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from measure.render.draw import render_blank, render_field
from measure.render.recipe import Arrangement, Camera, Extras, Light, Recipe, Sizes
from measure.render.ruling import Ruling, render_ruling

UM_PER_PX = 0.652
FIELDS = 6
_LIGHT = Light(vignette=0.16, slope=0.07, slope_deg=35.0, tint=0.02, haze=0.8, veil=0.01)
_CAMERA = Camera(blur_px=1.0, depth_um=16.0, blur_px_per_um=0.05, sharpen=0.15, full_well=6000.0)
_BASE = Recipe(um_per_px=UM_PER_PX, light=_LIGHT, camera=_CAMERA, skin_share=0.17, salt_share=0.16)


@dataclass(frozen=True)
class SampleBatch:
    """One batch: its name and notes for the study, and how its fields are drawn."""

    name: str
    passes: int
    minutes: float
    mill_setting: str
    recipe: Recipe
    seed: int


BATCHES = (
    SampleBatch(
        "pass-1",
        1,
        6.0,
        "gap 60 µm, 180 rpm",
        replace(
            _BASE,
            sizes=Sizes(60.0, 1.62, 5.0, 135.0),
            arrangement=Arrangement(cover=0.055, touch_share=0.10, overlap_share=0.02),
            extras=Extras(bubbles=2, fibres=1),
        ),
        101,
    ),
    SampleBatch(
        "pass-3",
        3,
        17.0,
        "gap 35 µm, 180 rpm",
        replace(
            _BASE,
            sizes=Sizes(35.0, 1.58, 4.5, 95.0),
            arrangement=Arrangement(cover=0.04, touch_share=0.12, overlap_share=0.02),
            extras=Extras(bubbles=2),
        ),
        303,
    ),
    SampleBatch(
        "pass-6",
        6,
        33.0,
        "gap 20 µm, 180 rpm",
        replace(
            _BASE,
            sizes=Sizes(19.0, 1.5, 4.0, 55.0),
            arrangement=Arrangement(cover=0.032, touch_share=0.12, overlap_share=0.02),
            extras=Extras(bubbles=1),
        ),
        606,
    ),
)

_RULING = Ruling(
    um_per_px=UM_PER_PX,
    angle_deg=1.7,
    division_um=10.0,
    divisions=100,
    first_division=49.0,
    light=_LIGHT,
    camera=_CAMERA,
    blur_px=1.1,
    contrast=0.8,
    scratches=2,
    ground=(226.0, 226.0, 219.0),
)


def _pictures() -> Iterator[tuple[str, np.ndarray]]:
    """Give each sample picture with its file name, RGB."""
    yield "stage-micrometer.jpg", render_ruling(_RULING, seed=11).pixels
    yield "blank-oil.jpg", render_blank(_BASE, seed=12)
    for batch in BATCHES:
        for i in range(FIELDS):
            yield _field_name(batch, i), render_field(batch.recipe, batch.seed + i).pixels


def _field_name(batch: SampleBatch, number: int) -> str:
    return f"{batch.name}/field-{number + 1}.jpg"


def sample_list() -> dict[str, object]:
    """Return what the demo reads: batches with their files, the ruling and the blank."""
    return {
        "about": "Drawn (invented) micrographs; made by: python -m measure.render.samples",
        "product": "Hazelnut spread with sea salt",
        "recipe": "roasted hazelnuts 94 %, hazelnut oil 4 %, sea salt 2 %",
        "dilution": "1 part spread in 40 parts hazelnut oil",
        "zoom": "10x objective",
        "ruling": {
            "file": "stage-micrometer.jpg",
            "division_um": _RULING.division_um,
            "certificate_um": 0.5,
            "coverage_factor": 2.0,
        },
        "blank": "blank-oil.jpg",
        "true_um_per_px": UM_PER_PX,
        "batches": [
            {
                "name": batch.name,
                "passes": batch.passes,
                "minutes": batch.minutes,
                "mill_setting": batch.mill_setting,
                "files": [_field_name(batch, i) for i in range(FIELDS)],
            }
            for batch in BATCHES
        ],
    }


def write_samples(folder: Path) -> list[Path]:
    """Draw and write all sample pictures and ``samples.json`` into a folder; return the paths written."""
    written = []
    for name, pixels in _pictures():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        done, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
        assert done
        path.write_bytes(data.tobytes())
        written.append(path)
    listing = folder / "samples.json"
    listing.write_text(json.dumps(sample_list(), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return [*written, listing]


def main(argv: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(prog="python -m measure.render.samples", description=__doc__)
    default = Path(__file__).resolve().parents[2] / "sample_images"
    parser.add_argument("folder", nargs="?", type=Path, default=default, help="where to write them")
    for path in write_samples(parser.parse_args(argv).folder):
        sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
