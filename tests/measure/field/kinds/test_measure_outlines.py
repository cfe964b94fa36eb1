import time

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.edges.features import label_image
from measure.field.ground.light import prepare
from measure.field.kinds.doubt import with_doubt
from measure.field.kinds.measure_outlines import measure_outlines
from measure.flags import FLAGS, bits
from measure.model import Picture
from measure.particles import make_particles

OIL, BODY = (225.0, 215.0, 185.0), (180.0, 150.0, 110.0)
TURN = np.linspace(0, 2 * np.pi, 80, endpoint=False)


def circle(x, y, r):
    return np.c_[x + r * np.cos(TURN), y + r * np.sin(TURN)].astype(np.float32)


def field(blur=1.0, size=(240, 320), discs=((60, 60, 14), (160, 120, 20), (250, 180, 8)), seed=0):
    """Discs of one colour with a soft edge, and light noise."""
    y, x = np.mgrid[: size[0], : size[1]] + 0.5
    pixels = np.empty((*size, 3))
    pixels[:] = OIL
    for cx, cy, r in discs:
        cover = np.clip(r - np.hypot(x - cx, y - cy) + 0.5, 0, 1)[..., None]
        pixels = pixels * (1 - cover) + cover * np.array(BODY)
    pixels = cv2.GaussianBlur(pixels, (0, 0), blur) + np.random.default_rng(seed).normal(0, 1.5, pixels.shape)
    picture = Picture(np.clip(pixels, 0, 255).round().astype(np.uint8))
    return picture, prepare(picture), [circle(*d) for d in discs]


@pytest.fixture(scope="module")
def sharp():
    return field()


def test_columns_say_what_the_picture_shows(sharp):
    picture, light, outlines = sharp
    p = measure_outlines(outlines, picture, light)
    assert list(p["label"]) == [1, 2, 3]
    assert p.diameter_px == pytest.approx([28, 40, 16], rel=0.002)
    assert p["lightness_step"][1] == pytest.approx(p["core_lightness_step"][1], abs=1.5)
    assert p["red"][1] == pytest.approx(BODY[0], abs=3)
    assert p["blue"][1] == pytest.approx(BODY[2], abs=4)
    assert p["texture"].max() < 1.0
    assert p["ring_share"] == pytest.approx([1, 1, 1])
    assert not (p["flags"] & bits("faint", "blurred", "clipped", "rim_only", "ragged", "touches_frame")).any()


@pytest.mark.parametrize("blur", [1.0, 1.5, 2.5])
def test_edge_width_is_that_of_the_blur(blur):
    # the 10-90 % width of an edge blurred by a Gaussian is 2 x 1.2816 sigma (tables of the normal law);
    # the pixel and the sampling add a little
    picture, light, outlines = field(blur)
    p = measure_outlines(outlines[:2], picture, light)
    expected = 2.5631 * np.sqrt(blur**2 + 2 / 12)
    assert p["edge_width_px"] == pytest.approx([expected] * 2, rel=0.12)


def test_a_defocused_piece_is_flagged_and_its_size_less_certain():
    picture, light, outlines = field(4.0)
    soft = measure_outlines(outlines, picture, light)
    picture, light, outlines = field(1.0)
    crisp = measure_outlines(outlines, picture, light)
    assert soft["flags"][1] & FLAGS["blurred"].bit
    assert all(soft["size_uncertainty_px"][:2] > 2 * crisp["size_uncertainty_px"][:2])
    assert soft["doubt"][1] > crisp["doubt"][1]


def test_touching_neighbours_keep_their_own_colour_and_edge():
    discs = ((100, 100, 20), (139, 100, 20))
    picture, light, outlines = field(1.0, discs=discs)
    p = measure_outlines(outlines, picture, light, flags=np.full(2, bits("touching")), parent=np.full(2, 7))
    assert p["edge_width_px"] == pytest.approx([2.8, 2.8], abs=0.5)
    assert all(p["flags"] & FLAGS["touching"].bit)
    assert list(p["parent"]) == [7, 7]
    alone = measure_outlines(outlines, picture, light)
    assert all(p["size_uncertainty_px"] > alone["size_uncertainty_px"])
    assert all(p["doubt"] > alone["doubt"])


def test_small_and_border_pieces_are_flagged():
    picture, light, outlines = field(1.0, discs=((60, 60, 4), (0, 120, 20), (150, 226, 14)))
    p = measure_outlines([np.clip(o, 0, [320, 240]) for o in outlines], picture, light)
    assert [bool(f & FLAGS["small"].bit) for f in p["flags"]] == [True, False, False]
    assert [bool(f & FLAGS["touches_frame"].bit) for f in p["flags"]] == [False, True, True]


def test_a_crop_gives_the_same_numbers_as_the_whole_field(sharp):
    picture, light, outlines = sharp
    together = measure_outlines(outlines, picture, light)
    alone = measure_outlines(outlines[1:2], picture, light)
    for name in ("lightness_step", "red_density", "edge_width_px", "texture", "size_uncertainty_px"):
        assert alone[name][0] == pytest.approx(together[name][1], rel=1e-6)


def test_label_image_buries_no_small_piece():
    labels, corner = label_image([circle(20, 20, 4), circle(20, 20, 12)], (64, 64))
    assert labels[20 - corner[0], 20 - corner[1]] == 1
    assert labels[20 - corner[0], 28 - corner[1]] == 2


def test_bad_outlines_are_refused(sharp):
    picture, light, _ = sharp
    with pytest.raises(InvalidInput, match="fewer than three"):
        measure_outlines([np.array([[1, 1], [2, 2]])], picture, light)
    with pytest.raises(InvalidInput, match="outside"):
        measure_outlines([circle(900, 60, 5)], picture, light)


def test_size_uncertainty_covers_what_noise_does_to_a_disc():
    # outlines at half contrast of the same disc under fresh noise: their spread is the noise part
    from skimage.measure import find_contours

    sizes, stated = [], []
    for seed in range(12):
        picture, light, _ = field(1.2, discs=((80, 80, 12),), size=(160, 160), seed=seed)
        level = light.delta[..., 0] / np.median(light.delta[74:86, 74:86, 0])
        outline = max(find_contours(level, 0.5), key=len)[:-1, ::-1] + 0.5
        p = measure_outlines([outline], picture, light)
        sizes.append(p.diameter_px[0])
        stated.append(p["size_uncertainty_px"][0])
    assert np.std(sizes) < np.mean(stated)
    assert abs(np.mean(sizes) - 24.0) < 2 * np.mean(stated)
    assert np.mean(stated) < 0.5


def test_overall_doubt_adds_independent_chances():
    outlines = [circle(50, 50, 20)] * 4
    p = make_particles(
        outlines,
        area_px2=np.full(4, 1256.0),
        kind_doubt=[0.0, 0.2, 0.2, 0.2],
        flags=[0, 0, bits("faint"), bits("faint", "by_hand")],
        size_uncertainty_px=np.full(4, 0.1),
    )
    d = with_doubt(p)["doubt"]
    assert d[0] == 0
    assert d[1] == pytest.approx(0.2)
    assert d[2] == pytest.approx(1 - 0.8 * 0.75)
    assert d[3] == pytest.approx(0.2)


def test_one_hand_made_piece_is_measured_at_once(sharp):
    picture, light, outlines = sharp
    measure_outlines(outlines[:1], picture, light)
    start = time.perf_counter()
    for _ in range(5):
        measure_outlines(outlines[:1], picture, light)
    assert (time.perf_counter() - start) / 5 < 0.1
