"""The sample pictures on disk are the ones the command draws, and their list is right."""

import json
from pathlib import Path

import cv2
import numpy as np

from measure.render import render_field
from measure.render.samples import BATCHES, UM_PER_PX, sample_list

FOLDER = Path(__file__).resolve().parents[3] / "sample_images"


def test_list_names_pictures_that_are_there():
    listing = json.loads((FOLDER / "samples.json").read_text(encoding="utf-8"))
    assert listing == sample_list()
    names = [name for batch in listing["batches"] for name in batch["files"]]
    names += [listing["ruling"]["file"], listing["blank"]]
    assert len(names) == 20
    for name in names:
        height, width = cv2.imread(str(FOLDER / name)).shape[:2]
        assert (width, height) == (1600, 1200)
    assert sum(p.stat().st_size for p in FOLDER.rglob("*") if p.is_file()) < 12e6
    assert "drawn" in (FOLDER / "README.md").read_text(encoding="utf-8")


def test_passes_get_finer():
    medians = []
    for batch in BATCHES:
        sizes = [t.diameter_px * UM_PER_PX for t in render_field(batch.recipe, batch.seed).truth]
        medians.append(np.median(sizes))
    assert medians[0] > 1.4 * medians[1] > 1.8 * medians[2]


def test_a_field_on_disk_is_the_one_the_seed_draws():
    batch = BATCHES[2]
    drawn = render_field(batch.recipe, batch.seed).pixels.astype(float)
    on_disk = cv2.imread(str(FOLDER / "pass-6/field-1.jpg"))[..., ::-1].astype(float)
    assert np.abs(drawn - on_disk).mean() < 2.5
