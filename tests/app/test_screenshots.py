"""Pictures of the stations: one of each, small, and bad words refused in a sentence."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PySide6.QtGui import QImage, QPixmap

from app import preferences, screenshots
from app.stations import ORDER


def test_one_small_picture_of_each_station_whatever_the_user_opened(qtbot, study_path: Path, tmp_path: Path):
    out = tmp_path / "before"
    arguments = ["--study", str(study_path), "--size", "1280x700"]
    assert screenshots.main([str(out), *arguments]) == 0
    assert {p.stem for p in out.iterdir()} == {"start", *ORDER}
    for path in out.iterdir():
        assert path.stat().st_size <= screenshots.LARGEST_BYTES
        with Image.open(path) as picture:
            assert picture.size == (1280, 700)
    assert preferences.recent_studies() == []
    other = tmp_path / "other.gritline"
    other.touch()
    preferences.remember_study(other)
    assert screenshots.main([str(tmp_path / "after"), *arguments]) == 0
    assert preferences.recent_studies() == [other]
    pictures = [(tmp_path / when / "start.png").read_bytes() for when in ("before", "after")]
    assert pictures[0] == pictures[1]


@pytest.mark.parametrize("size", ["large", "10x10", "1280"])
def test_a_size_that_is_none_is_refused(size: str, study_path: Path, tmp_path: Path, capsys):
    assert screenshots.main([str(tmp_path), "--study", str(study_path), "--size", size]) == 2
    assert "--size" in capsys.readouterr().err


@pytest.mark.parametrize(("width", "height", "kept"), [(2560, 1600, True), (1280, 800, False)])
def test_a_larger_window_keeps_its_colours(qtbot, width: int, height: int, kept: bool):
    pixels = np.full((height, width, 3), 240, np.uint8)
    pixels[:480, :640] = np.random.default_rng(1).integers(0, 256, (480, 640, 3))
    image = QImage(pixels.data, width, height, 3 * width, QImage.Format.Format_RGB888)
    made = Image.open(io.BytesIO(screenshots._small_png(QPixmap.fromImage(image))))
    assert (len(made.convert("RGB").getcolors(1000)) > 200) is kept
