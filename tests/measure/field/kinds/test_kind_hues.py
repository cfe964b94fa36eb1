"""Kinds of hues that no fit has seen: lumps thicken with size and are mottled, sheets are flat and torn."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.kinds.kind_groups import Told, hue_groups, kernel_odds, over_partings
from measure.field.kinds.kind_hues import by_hues, by_lit_hues
from measure.field.kinds.kind_told import thickening
from measure.field.kinds.kinds import group_chances, table_of, tag
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import KINDS, Kind, Picture
from measure.particles import make_particles
from tests.measure.field.kinds.test_kind_alike import chances

OIL = np.array([0.62, 0.57, 0.42])
GREEN, WHITISH, BLACK = (np.array(a) for a in ([0.62, 0.36, 0.98], [0.17, 0.19, 0.26], [1.4, 1.5, 1.6]))
BEIGE, REDDISH = np.array([0.34, 0.47, 0.72]), np.array([0.3, 0.8, 0.95])
KERNEL, SKIN = KINDS.index(Kind.KERNEL), KINDS.index(Kind.SKIN)


def clouds(rng, shape, grain_px):
    noise = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), grain_px)
    return noise / noise.std()


def lump(rng, diameter_px):
    """Mask and thickness of a rounded, mottled piece, thicker the larger it is."""
    y, x = np.mgrid[-1.3:1.3:64j, -1.3:1.3:64j]
    radius = np.hypot(x, y * rng.uniform(0.8, 1.25)) + 0.06 * clouds(rng, x.shape, 6.0)
    side = int(1.3 * diameter_px)
    thick = np.sqrt(np.clip(1.0 - radius**2, 0.0, None)) * (1.0 + 0.2 * clouds(rng, x.shape, 3.0))
    mask, thick = (cv2.resize(a.astype(np.float32), (side, side)) for a in (radius < 1.0, thick))
    return mask > 0.5, np.clip(thick, 0.03, None) * np.sqrt(diameter_px / 30.0)


def sheet(rng, diameter_px):
    """The same of a torn piece, as thick everywhere, however large."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, 9))
    corners = np.c_[np.cos(turn) * 1.3, np.sin(turn) / 1.3] * rng.uniform(0.6, 1.2, (9, 1))
    side = int(1.8 * diameter_px)
    mask = np.zeros((side, side), np.uint8)
    cv2.fillPoly(mask, [np.round((corners / 2.8 + 0.5) * side).astype(np.int32)], 1)
    return mask > 0, 1.0 + 0.06 * clouds(rng, mask.shape, 5.0)


def field(lumps, sheets, seed=5):
    """Measured pieces of a field, lumps and sheets of given absorbances, and which of them are lumps."""
    rng = np.random.default_rng(seed)
    light = np.ones((700, 900, 3)) * OIL
    outlines, is_lump = [], []
    for k in range(48):
        make, absorbance = (lump, lumps) if k % 2 else (sheet, sheets)
        mask, thick = make(rng, float(np.exp(rng.normal(np.log(30.0), 0.3))))
        top, left = 20 + 110 * (k // 8), 15 + 110 * (k % 8)
        rows, cols = mask.shape
        at = np.s_[top : top + min(rows, 104), left : left + min(cols, 104)]
        mask, thick = mask[:104, :104], thick[:104, :104]
        light[at] *= np.exp(-(mask * thick)[..., None] * absorbance * np.exp(rng.normal(0, 0.06)))
        found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        outline = max(found, key=cv2.contourArea)[:, 0].astype(np.float32)
        outlines.append(outline + np.array([left + 0.5, top + 0.5], np.float32))
        is_lump.append(make is lump)
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    light += rng.normal(size=light.shape) * np.sqrt(light / 6000.0)
    pixels = (np.clip(light, 0, 1) ** (1 / 2.2) * 255).round().astype(np.uint8)
    picture = Picture(pixels)
    return measure_outlines(outlines, picture, prepare(picture)), np.array(is_lump)


@pytest.mark.parametrize(
    ("lumps", "sheets"),
    [(GREEN, WHITISH), (BEIGE, GREEN), (REDDISH, BEIGE), (WHITISH * 2, BLACK), (REDDISH, GREEN)],
    ids=["green and white", "beige and green", "reddish and beige", "white and black", "reddish and green"],
)
def test_which_hue_is_the_kernels_is_told_by_form_and_not_by_the_hue(lumps, sheets):
    found, is_lump = field(lumps, sheets)
    assert table_of(found) == "colour on bright"
    right = found["kind"] == np.where(is_lump, KERNEL, SKIN)
    assert right.mean() > 0.9
    sure = found["kind_doubt"] < 0.1
    assert right[sure].mean() > 0.95
    assert sure.mean() > 0.6


def test_a_table_that_knows_colours_alone_would_have_it_wrong():
    found, is_lump = field(BEIGE, GREEN)
    chance = group_chances(found)
    alone = chance[:, KERNEL] > chance[:, SKIN]
    assert (alone == is_lump).mean() < 0.8
    changed = by_hues(chance, found)
    assert np.allclose(changed.sum(axis=1), 1.0)
    assert ((changed[:, KERNEL] > changed[:, SKIN]) == is_lump).mean() > 0.9


def test_what_a_user_taught_of_a_hue_is_believed():
    found, is_lump = field(GREEN, WHITISH)
    chance = group_chances(found)
    taught = np.where(is_lump, -9.0, 9.0)
    told = chance.copy()
    told[:, [0, 1]] = 0.999 * np.where(is_lump[:, None], [0.001, 0.999], [0.999, 0.001])
    changed = by_hues(told / told.sum(axis=1, keepdims=True), found, taught=taught)
    assert ((changed[:, SKIN] > changed[:, KERNEL]) == is_lump).mean() > 0.9


def test_small_pieces_go_with_the_groups_of_their_hue():
    found, is_lump = field(REDDISH, BEIGE)
    small = np.arange(48) % 4 < 2
    seen = tag(found.replaced(area_px2=np.where(small, 60.0, found["area_px2"])))
    right = seen["kind"] == np.where(is_lump, KERNEL, SKIN)
    assert right[small].mean() > 0.9
    # what a small piece says for itself is not sure in such hues
    sure = small & (seen["kind_doubt"] < 0.1)
    assert right[sure].mean() > 0.95


@pytest.mark.parametrize("hue", [BEIGE, REDDISH, GREEN], ids=["beige", "reddish", "green"])
def test_kernels_and_skins_of_one_hue_are_told_apart_or_doubted(hue):
    found, is_lump = field(hue, hue)
    right = found["kind"] == np.where(is_lump, KERNEL, SKIN)
    sure = found["kind_doubt"] < 0.1
    assert right[sure].sum() >= 0.95 * sure.sum()
    assert found["kind_doubt"][~right].mean() > 0.15


def test_red_kernels_alone_are_kernels_and_red_skins_alone_are_skins():
    lumps, is_lump = field(REDDISH, BEIGE)
    kernels = tag(lumps.select(np.flatnonzero(is_lump)))
    assert (kernels["kind"] == KERNEL).mean() > 0.9
    sheets, is_lump = field(BEIGE, REDDISH)
    skins = tag(sheets.select(np.flatnonzero(~is_lump)))
    assert (skins["kind"] == SKIN).mean() > 0.9
    assert np.median(skins["kind_doubt"]) < np.median(kernels["kind_doubt"])


def test_few_pieces_and_none_are_left_as_they_are():
    found, _ = field(BEIGE, GREEN)
    few = found.select(np.arange(4))
    chance = group_chances(few)
    # what is drawn by hand, one or two at a time, is judged as the table has it
    assert np.array_equal(by_hues(chance, few, every=False), chance)
    # a field of nothing else is doubted, but its kinds stay
    doubted = by_hues(chance, few)
    assert np.array_equal(doubted.argmax(axis=1), chance.argmax(axis=1))
    assert np.allclose(doubted.sum(axis=1), 1.0)
    assert doubted.max() < chance.max()
    none = found.select(np.zeros(0, int))
    assert by_hues(np.zeros((0, 6)), none).shape == (0, 6)


def test_hues_are_parted_at_clear_gaps_alone():
    rng = np.random.default_rng(2)
    one = rng.normal(size=(40, 3))
    assert len(hue_groups(one, np.ones(40))) == 1
    two = np.concatenate([one, rng.normal(size=(20, 3)) + np.array([9.0, 0.0, 0.0])])
    parted = hue_groups(two, np.ones(60))
    assert sorted(len(g) for g in parted) == [20, 40]
    three = np.concatenate([two, rng.normal(size=(15, 3)) + np.array([0.0, -12.0, 0.0])])
    assert sorted(len(g) for g in hue_groups(three, np.ones(75))) == [15, 20, 40]
    # a single odd piece makes no hue
    assert len(hue_groups(np.concatenate([one, [[30.0, 0.0, 0.0]]]), np.ones(41))) == 1


def test_a_gap_that_is_hardly_one_decides_by_halves():
    rng = np.random.default_rng(2)
    one, other = rng.normal(size=(40, 3)), rng.normal(size=(20, 3))
    parted, whole = np.full((60, 6), 0.9), np.full((60, 6), 0.1)

    def asked(gap):
        place = np.concatenate([one, other + np.array([gap, 0.0, 0.0])])
        return over_partings(
            place,
            np.ones(60),
            lambda g: True,
            lambda groups, _: parted if len(groups) > 1 else whole,
        )

    said = np.array([asked(gap)[0, 0] for gap in np.arange(2.0, 9.0, 0.1)])
    assert said[0] == 0.1
    assert said[-1] == 0.9
    between = (said > 0.2) & (said < 0.8)
    assert np.count_nonzero(between) >= 5
    # nowhere does a step of the gap turn one into the other
    assert np.abs(np.diff(said)).max() < 0.7


@pytest.mark.parametrize(("lumps", "sheets"), [(BEIGE, GREEN), (GREEN, WHITISH), (REDDISH, REDDISH * 0.8)])
def test_no_sure_kind_turns_when_a_tenth_of_the_pieces_is_missing(lumps, sheets):
    found, _ = field(lumps, sheets)
    rng, sure = np.random.default_rng(1), found["kind_doubt"] < 0.1
    for _ in range(8):
        kept = np.flatnonzero(rng.random(48) > 0.1)
        again = tag(found.select(kept))
        assert np.array_equal(again["kind"][sure[kept]], found["kind"][kept][sure[kept]])


def test_density_of_lumps_grows_with_size():
    size = np.log(np.linspace(15.0, 60.0, 30))
    power, error = thickening(size, 0.4 * size + 1.0, np.ones(30))
    assert power == pytest.approx(0.4, abs=0.02)
    assert error == pytest.approx(0.25 / np.sqrt(((size - size.mean()) ** 2).sum()), rel=0.01)
    assert abs(thickening(size, np.full(30, 0.7), np.ones(30))[0]) < 1e-9


def told(*value):
    return Told(np.array(value), np.full(len(value), 0.5), -0.3, 1.5, 0.8)


def test_form_decides_between_two_hues_and_not_between_two_alike():
    none = np.zeros(2)
    kernel, skin = kernel_odds(none, told(0.5, -1.2))
    assert kernel > 2.5
    assert skin < -2.5
    # what both have in common is the field's: the same difference farther down says the same
    kernel, skin = kernel_odds(none, told(-0.6, -2.3))
    assert kernel > 1.0
    assert skin < -2.5
    assert kernel_odds(none, told(-0.3, -0.3)) == pytest.approx(0.0, abs=0.1)
    # a prior that both are kernels is not overruled by little
    assert all(kernel_odds(np.array([3.0, 3.0]), told(0.0, -0.3)) > 0.0)


def test_two_hues_that_shine_and_are_taken_for_one_kind_are_doubted():
    rng = np.random.default_rng(3)
    beige, white = np.array([-0.35, -0.28, -0.1]), np.array([-0.5, -0.5, -0.48])
    shining = pieces(np.concatenate([around(beige, 20, 1), around(white, 8, 2)]), shade=0.15)
    chance = chances(rng.uniform(0.97, 0.99, 28))
    doubted = by_lit_hues(chance, shining)
    assert all(doubted[:, 0] > 0.5)
    assert all(doubted[:, 0] < 0.9)
    # of one hue, or of one kind each, nothing is doubted
    assert np.array_equal(by_lit_hues(chance[:20], shining.select(np.arange(20))), chance[:20])
    each = by_lit_hues(chances([0.98] * 20 + [0.02] * 8), shining)
    assert all(each[:20, 0] > 0.97)
    assert all(each[20:, 0] < 0.03)


def around(density, count, seed):
    return density + np.random.default_rng(seed).normal(0, 0.01, (count, 3))


def pieces(density, shade):
    columns = {f"{c}_density": density[:, i] for i, c in enumerate(("red", "green", "blue"))}
    light = shade * 10.0**-density
    columns |= {c: 255.0 * light[:, i] ** (1 / 2.2) for i, c in enumerate(("red", "green", "blue"))}
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], np.float32)
    return make_particles([square] * len(density), area_px2=400.0, **columns)
