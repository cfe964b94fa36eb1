"""Burnt-in bars, words and panels: found on real and drawn pictures, and compared with the scale."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.model import Picture
from measure.picture_file import read_picture
from measure.picture_png import encode_png, png_words
from measure.scale.burnt_in import Bar, find_burnt_in
from measure.scale.cross_check import check_bar, check_tag, label_um

BAR = Bar(0.0, 105.0, 10.0, np.zeros((4, 2)))


# lengths read by eye to a pixel or two from the pictures, end tick to end tick
@pytest.mark.parametrize(
    ("name", "length_px", "row"),
    [
        ("64", 105, 440),
        ("94", 105, 440),
        ("314", 41, 435),
        ("331", 41, 435),
        ("530", 41, 435),
        ("721", 31, 441),
    ],
)
def test_real_bars_are_found(real_pictures: Path, name: str, length_px: int, row: int):
    found = find_burnt_in(read_picture(real_pictures / "blood_film_scalebar" / f"{name}.jpg"))
    assert len(found.bars) == 1
    assert found.bars[0].length_px == pytest.approx(length_px, abs=1.5)
    assert found.bars[0].y_px == pytest.approx(row, abs=2)


@pytest.mark.parametrize("name", ["pass-1/field-6.jpg", "pass-3/field-1.jpg"])
def test_the_level_sides_of_crystals_are_no_bars(name: str):
    picture = read_picture(Path(__file__).parents[3] / "sample_images" / name)
    assert find_burnt_in(picture).bars == ()


def test_a_bar_broken_by_its_words_and_the_panel_below_are_found(real_pictures: Path):
    picture = read_picture(real_pictures / "glass_with_sand_and_bubbles" / "MV_HFV_012.jpg")
    found = find_burnt_in(picture)
    assert found.bars[0].length_px == pytest.approx(316, abs=1.5)
    (panel,) = found.zones  # nothing of the field above it is given up for the bar in it
    assert panel[0].tolist() == pytest.approx([0, 882], abs=6)
    assert panel[2].tolist() == [1024, 943]
    # the panel says that the field is 3.25 mm wide over 1024 px
    assert check_bar(found.bars[0], "1.0mm", 3250 / 1024).verdict == "agrees"


def test_a_drawn_bar_and_its_words_lie_in_the_zone():
    rng = np.random.default_rng(2)
    pixels = np.clip(rng.normal(210, 3, (300, 400, 3)), 0, 255).astype(np.uint8)
    cv2.circle(pixels, (120, 120), 40, (120, 80, 50), -1, cv2.LINE_AA)
    cv2.rectangle(pixels, (250, 260), (349, 263), (0, 0, 0), -1)
    cv2.putText(pixels, "50 um", (270, 252), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1)
    found = find_burnt_in(Picture(pixels))
    assert [bar.length_px for bar in found.bars] == pytest.approx([99.5], abs=1)
    left, top = found.zones[0].min(axis=0)
    right, bottom = found.zones[0].max(axis=0)
    assert left <= 250
    assert right >= 349
    assert top <= 245
    assert bottom >= 264


def test_nothing_is_found_in_plain_oil_and_round_pieces():
    rng = np.random.default_rng(3)
    pixels = np.clip(rng.normal(210, 3, (300, 400, 3)), 0, 255).astype(np.uint8)
    for x, y, r in ((60, 60, 30), (200, 100, 60), (320, 220, 45)):
        cv2.circle(pixels, (x, y), r, (120, 80, 50), -1, cv2.LINE_AA)
    assert find_burnt_in(Picture(pixels)).bars == ()


@pytest.mark.parametrize(
    ("text", "um", "unit"),
    [("20.00um", 20.0, True), ("1.0 mm", 1000.0, True), ("50.00", 50.0, False), ("0,5mm", 500.0, True)],
)
def test_labels_are_read(text: str, um: float, unit: bool):
    assert label_um(text) == (um, unit)


@pytest.mark.parametrize("text", ["", "um", "20 furlongs", "-3 um", "0 um", "six um"])
def test_labels_that_are_no_length_are_refused(text: str):
    with pytest.raises(InvalidInput):
        label_um(text)


def test_a_bar_agrees_differs_or_alarms():
    assert check_bar(BAR, "20.00um", 20 / 105).verdict == "agrees"
    assert check_bar(BAR, "20.00um", 0.25).verdict == "differs"
    ten = check_bar(BAR, "20 um", 1.9)
    assert (ten.verdict, "ten times smaller" in ten.words) == ("alarm", True)
    bare = check_bar(BAR, "50.00", None)
    assert (bare.verdict, "no unit" in bare.words) == ("alarm", True)
    assert "make a scale" in check_bar(BAR, "20 um", None).words


def test_a_misleading_real_bar_alarms(real_pictures: Path):
    # labelled "50.00" without a unit; the cells would be far too large if it meant micrometres
    found = find_burnt_in(read_picture(real_pictures / "blood_film_scalebar" / "721.jpg"))
    check = check_bar(found.bars[0], "50.00", 0.19)
    assert check.verdict == "alarm"
    assert "no unit" in check.words
    assert "8.49 times the scale" in check.words


def test_a_bar_that_cannot_be_read_is_asked_for(real_pictures: Path):
    # 6.00 or 8.00: a person has to say, and either is held against the scale
    found = find_burnt_in(read_picture(real_pictures / "blood_film_scalebar" / "314.jpg"))
    with pytest.raises(InvalidInput, match="type its number and unit"):
        check_bar(found.bars[0], "", 20 / 105)
    verdicts = [check_bar(found.bars[0], label, 20 / 105).verdict for label in ("6.00um", "8.00um")]
    assert verdicts == ["differs", "agrees"]


def test_a_print_resolution_says_nothing_of_the_object(real_pictures: Path):
    picture = read_picture(real_pictures / "candies_and_coins" / "candies_54.jpg")  # its tag says 300 dpi
    check = check_tag(picture.embedded_um_per_px, picture.embedded_source, 0.19)
    assert check.verdict == "print"
    assert "without knowing the zoom" in check.words


def test_tags_meant_for_printing_alarm():
    assert check_tag(25400 / 300, "PNG pHYs", 0.25).verdict == "alarm"
    assert check_tag(0.252, "OME-XML", 0.25).verdict == "agrees"
    assert check_tag(0.25 * 2.54, "TIFF tags", 0.25).verdict == "alarm"


def test_a_slip_is_named_only_when_the_ratio_is_nearly_exact():
    # 2.54 cm are one inch by definition (international yard and pound, 1959); 2.5 is a ratio of objectives
    assert "inches" in check_tag(0.25 / 2.54, "TIFF tags", 0.25).words
    for claimed in (0.25 * 2.5, 0.25 * 2.6, 0.25 / 2.5):
        check = check_tag(claimed, "TIFF tags", 0.25)
        assert (check.verdict, "2.54" in check.words) == ("differs", False)
    # a bar names a length, never a resolution: 50 against 20 is no slip
    bar = check_bar(BAR, "50 um", 20 / 105)
    assert (bar.verdict, "2.54" in bar.words) == ("differs", False)
    for factor, named in ((10.0, True), (9.7, True), (8.0, False), (12.5, False), (1000.0, True)):
        words = check_bar(BAR, f"{20 * factor:g} um", 20 / 105).words
        assert (" times larger" in words) is named, factor


def test_png_keeps_pixels_and_words():
    pixels = np.random.default_rng(1).integers(0, 255, (20, 30, 3), np.uint8)
    data = encode_png(pixels, {"Source": "camera 1, 1600 × 1200"})
    picture = read_picture(data, "a.png")
    assert np.array_equal(picture.pixels, pixels)
    assert png_words(data) == {"Source": "camera 1, 1600 × 1200"}
    assert png_words(b"no picture") == {}
