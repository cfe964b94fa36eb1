"""Rulings found by themselves: drawn ones with known scale, real millimetre paper, and no ruling at all."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from measure.errors import Cancelled, InvalidInput
from measure.model import Picture
from measure.picture_file import read_picture
from measure.progress import Progress
from measure.scale import find_scale
from measure.scale.doubts import fainter_between
from measure.scale.graduations import Axis
from tests.measure.scale.drawn_rulings import PLAIN, draw

SMALL = replace(PLAIN, width=720, height=400, um_per_px=0.9137)
CASES = [
    SMALL,
    replace(SMALL, name="turned", angle_deg=37.0),
    replace(SMALL, name="upright, 16 bit", angle_deg=90.6, bits=16),
    replace(SMALL, name="bright on dark", light=0.15, contrast=0.5, angle_deg=-20.0),
    replace(SMALL, name="faint", contrast=-0.05, noise=0.03, seed=6),
    replace(SMALL, name="blurred", blur_px=2.5, noise=0.03, seed=7),
    replace(SMALL, name="uneven light", shading=0.8, seed=8),
    replace(SMALL, name="digits and base line", digits=True, base_line=True, angle_deg=-4.0, seed=9),
    replace(SMALL, name="dirty", dust=60, scratches=10, seed=10),
    replace(SMALL, name="few lines", um_per_px=0.12, line_um=1.6, angle_deg=8.0, seed=11),
    replace(SMALL, name="dense", um_per_px=1.9, line_um=3.0, blur_px=0.6, seed=12),
    replace(SMALL, name="end in view", centre_um=(960.0, 60.0), angle_deg=20.0, seed=13),
    replace(SMALL, name="missing and doubled", missing=(40, 41, 55, 62), doubled=(35, 50), seed=14),
    replace(SMALL, name="lens distortion", distortion=0.001, seed=15),
    replace(SMALL, name="uneven ruling", ruling_error_um=0.2, seed=16),
]


def found(drawing, **options):
    return find_scale(
        Picture(draw(drawing), bit_depth=drawing.bits), division_um=drawing.division_um, **options
    )


@pytest.mark.parametrize("drawing", CASES, ids=lambda d: d.name)
def test_drawn_rulings(drawing):
    fit = found(drawing)
    error = fit.scale.um_per_px - drawing.um_per_px
    assert abs(error) < 1e-3 * drawing.um_per_px
    assert abs(error) < 3 * fit.scale.standard_uncertainty_um_per_px
    assert (fit.scale.angle_deg - drawing.angle_deg + 90) % 180 - 90 == pytest.approx(0, abs=0.1)
    assert fit.lines.shape == (len(fit.index), 4)
    assert fit.scale.graduations == len(fit.index) == len(fit.residuals_px)
    assert np.std(fit.residuals_px) < 0.35


def test_lines_lie_on_the_graduations():
    drawing = replace(SMALL, angle_deg=15.0)
    fit = found(drawing)
    a = np.deg2rad(15.0)
    for x0, y0, x1, y1 in fit.lines:
        x, y = (x0 + x1) / 2 - drawing.width / 2, (y0 + y1) / 2 - drawing.height / 2
        along = (x * np.cos(a) + y * np.sin(a)) * drawing.um_per_px + drawing.centre_um[0]
        assert abs(along / 10 - round(along / 10)) * 10 / drawing.um_per_px < 0.1
    length_um = np.hypot(fit.lines[:, 2] - fit.lines[:, 0], fit.lines[:, 3] - fit.lines[:, 1]) * 0.9137
    assert np.median(length_um) == pytest.approx(60, rel=0.1)
    # every fifth and tenth are longer
    assert length_um.max() == pytest.approx(130, rel=0.1)


def test_left_out_lines_are_kept_and_said():
    fit = found(replace(SMALL, doubled=(48, 51), ruling_error_um=0.0, dust=0))
    assert len(fit.left_out) == 0 or any("left out" in w for w in fit.warnings)
    assert fit.scale.um_per_px == pytest.approx(0.9137, rel=1e-3)


def test_certificate_is_added():
    plain = found(SMALL)
    fit = found(SMALL, certificate_um=0.5, coverage_factor=2.0, zoom="10x")
    span = (fit.index[-1] - fit.index[0]) * 10.0
    assert fit.u_certificate == pytest.approx(0.25 / span)
    expected = np.hypot(plain.scale.relative_uncertainty, 0.25 / span)
    assert fit.scale.relative_uncertainty == pytest.approx(expected, rel=1e-6)
    assert (fit.scale.zoom, fit.scale.certificate_um, fit.scale.coverage_factor) == ("10x", 0.5, 2.0)


def test_distortion_is_said():
    fit = found(replace(SMALL, distortion=0.004, width=1000, seed=4))
    assert any("changes smoothly" in w for w in fit.warnings)
    assert fit.u_bend > 2e-4


def test_every_second_longer_is_doubted():
    """Lines of two lengths by turns: the division may be half of what is drawn, so the user is asked."""
    drawing = replace(SMALL, angle_deg=2.0)
    base = draw(replace(drawing, lines=101, lengths_um=(60.0, 60.0, 60.0)))
    longer = draw(replace(drawing, lines=51, division_um=20.0, lengths_um=(110.0, 110.0, 110.0)))
    fit = find_scale(Picture(np.minimum(base, longer)), division_um=10.0)
    assert fit.scale.um_per_px == pytest.approx(0.9137, rel=1e-3)
    assert any("Every second" in w for w in fit.warnings)


@pytest.mark.parametrize("contrast", [-0.10, -0.30])
def test_fainter_lines_between_count_as_graduations(contrast):
    """Every second line strong: the fainter ones between are divisions all the same."""
    strong = draw(replace(SMALL, division_um=20.0, lines=51))
    faint = draw(replace(SMALL, contrast=contrast))
    fit = find_scale(Picture(np.minimum(strong, faint)), division_um=10.0)
    assert fit.scale.um_per_px == pytest.approx(0.9137, rel=1e-3)
    assert fit.parts_seen == 1


def test_lines_seen_between_are_told():
    drawing = replace(SMALL, width=600, height=200, division_um=40.0, lines=26, angle_deg=0.0)
    picture = np.minimum(draw(drawing), draw(replace(drawing, division_um=20.0, lines=51, contrast=-0.15)))
    plane = picture[:, :, 0].astype(np.float32) / 255
    spacing = 40.0 / SMALL.um_per_px
    first = (0 - drawing.centre_um[0]) / SMALL.um_per_px + 300
    index = np.arange(26)
    axis = Axis(np.array([1.0, 0.0]), first, spacing, 80.0, 120.0, index, np.zeros(26))
    assert fainter_between(plane, axis)[0] == 2
    whole = draw(drawing)[:, :, 0].astype(np.float32) / 255
    assert fainter_between(whole, axis)[0] == 1


@pytest.mark.parametrize(
    ("name", "rows", "period_px"), [("1.jpg", (980, 1500), 57.4), ("40.jpg", (1150, 1680), 54.3)]
)
def test_real_millimetre_paper(real_pictures, name, rows, period_px):
    """Photographs beside millimetre paper, MIT licence: the line period as measured by their collector."""
    picture = read_picture(real_pictures / "lentils_mm_paper" / name)
    crop = Picture(picture.pixels[rows[0] : rows[1]], name=name)
    fit = find_scale(crop, division_um=1000.0)
    assert 1000.0 / fit.scale.um_per_px == pytest.approx(period_px, rel=5e-3)
    assert len(fit.index) > 20


@pytest.mark.parametrize(
    "name",
    [
        "blood_film_scalebar/94.jpg",
        "blood_film_scalebar/530.jpg",
        "candies_and_coins/candies_54.jpg",
        "candies_and_coins/coins_24.png",
        "electron_micrograph_with_mask/image.png",
        "glass_with_sand_and_bubbles/MV_HFV_012.jpg",
        "marbles_and_colonies/colonies-01.tif",
    ],
)
def test_real_pictures_without_a_ruling(real_pictures, name):
    with pytest.raises(InvalidInput, match="no ruling was found"):
        find_scale(read_picture(real_pictures / name), division_um=10.0)


def _page() -> np.ndarray:
    page = np.full((420, 640), 245, np.uint8)
    words = "the paste is ground until no piece is felt between tongue and palate"
    for k in range(14):
        line = " ".join(words.split()[k % 7 :])
        cv2.putText(page, line, (12, 30 + 28 * k), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 20, 1, cv2.LINE_AA)
    return page


def _noise() -> np.ndarray:
    return np.random.default_rng(2).normal(128, 20, (400, 500)).clip(0, 255).astype(np.uint8)


def _pieces(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    picture = np.full((500, 700), 210, np.uint8)
    for _ in range(120):
        centre, axes = (
            rng.uniform(0, [700, 500]).astype(int).tolist(),
            rng.uniform(3, 25, 2).astype(int).tolist(),
        )
        turn, shade = float(rng.uniform(0, 180)), int(rng.integers(50, 190))
        cv2.ellipse(picture, centre, axes, turn, 0, 360, shade, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(picture, (0, 0), 1)


def _fibres() -> np.ndarray:
    rng = np.random.default_rng(4)
    picture = np.full((500, 700), 210, np.uint8)
    for _ in range(60):
        a, b = rng.uniform(0, [700, 500], (2, 2)).astype(int).tolist()
        cv2.line(picture, a, b, 90, 2, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize(
    "picture",
    [_page(), _noise(), _pieces(1), _pieces(2), _fibres(), np.full((300, 400), 128, np.uint8),
     np.full((3, 3), 128, np.uint8), np.tile(np.arange(256, dtype=np.uint8), (200, 2))],
    ids=["text", "noise", "pieces", "more pieces", "fibres", "blank", "tiny", "ramp"],
)  # fmt: skip
def test_no_ruling(picture):
    with pytest.raises(InvalidInput, match=r"x\.png: no ruling was found"):
        find_scale(Picture(np.dstack([picture] * 3), name="x.png", grey=True), division_um=10.0)


def test_it_can_be_stopped_and_reports():
    seen = []

    def listen(fraction, stage):
        seen.append((fraction, stage))

    find_scale(Picture(draw(SMALL)), division_um=10.0, progress=Progress(listen))
    assert seen[0][0] == 0.0
    assert seen[-1][0] == 1.0
    assert [f for f, _ in seen] == sorted(f for f, _ in seen)
    stopped = Progress()
    stopped.cancel()
    with pytest.raises(Cancelled):
        find_scale(Picture(draw(SMALL)), division_um=10.0, progress=stopped)
