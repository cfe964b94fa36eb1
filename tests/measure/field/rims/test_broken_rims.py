"""See-through pieces with gaps in their rims, drawn as squares of known side."""

import cv2
import numpy as np
import pytest
import shapely
from scipy.special import ndtr

from measure.field.edges.edge import place_rim_edge
from measure.field.edges.rim_level import RimLine, profiles, rim_line, rim_shift, rim_sigmas, strip_inset
from measure.field.edges.rim_place import moved_to_edge
from measure.field.pipeline import measure_field
from measure.field.rims.rim_sides import completed
from measure.flags import bits
from measure.model import FieldSettings, Picture

SIDE = 44.0
TURN = 0.35


def _square(centre: tuple[float, float], side: float, size: tuple[int, int]) -> tuple[np.ndarray, ...]:
    """Depth inside a turned square, and places along its two axes from its middle, each eighth of a px."""
    y, x = (np.mgrid[: size[0] * 8, : size[1] * 8] + 0.5) / 8
    x, y = x - centre[0], y - centre[1]
    u, v = x * np.cos(TURN) + y * np.sin(TURN), y * np.cos(TURN) - x * np.sin(TURN)
    return side / 2 - np.maximum(abs(u), abs(v)), u, v


def _picture(rim: np.ndarray, blur_px: float = 1.0) -> Picture:
    rows, cols = rim.shape[0] // 8, rim.shape[1] // 8
    cover = cv2.resize(rim.astype(np.float32), (cols, rows), interpolation=cv2.INTER_AREA)
    cover = cv2.GaussianBlur(cover, (0, 0), blur_px)
    noise = np.random.default_rng(3).normal(0, 1.2, (rows, cols, 3))
    values = np.array([222, 212, 184]) * (1 - 0.45 * cover[..., None]) + noise
    return Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="rims")


def _rim(gap: str) -> np.ndarray:
    depth, u, v = _square((70, 66), SIDE, (130, 140))
    rim = (depth > 0) & (depth < 3.5)
    missing = {
        "none": np.zeros_like(rim),
        "corner": (u > 6) & (v > 6),
        "side": (u > 18) & (abs(v) < 17),
        "side and ends": u > 12,
        "two corners": ((u > 8) & (v > 8)) | ((u < -8) & (v < -8)),
    }
    return rim & ~missing[gap]


@pytest.mark.parametrize("gap", ["none", "corner", "side", "two corners"])
def test_a_broken_rim_is_completed(gap):
    particles = measure_field(_picture(_rim(gap)), FieldSettings(), 1.0).particles
    assert len(particles) == 1
    assert particles["area_px2"][0] == pytest.approx(SIDE**2, rel=0.06)
    assert bool(particles["flags"][0] & bits("broken_rim")) == (gap != "none")
    assert particles["flags"][0] & bits("rim_only")


def test_a_rim_of_three_sides_is_closed_by_the_shortest_line():
    particles = measure_field(_picture(_rim("side and ends")), FieldSettings(), 1.0).particles
    assert len(particles) == 1
    assert particles["area_px2"][0] == pytest.approx(SIDE * (SIDE / 2 + 12), rel=0.06)


def test_a_broken_rim_is_less_certain():
    whole, broken = (
        measure_field(_picture(_rim(gap)), FieldSettings(), 1.0).particles["size_uncertainty_px"][0]
        for gap in ("none", "corner")
    )
    assert broken > 1.2 * whole


def test_two_whole_rims_side_by_side_stay_two():
    first, _, _ = _square((50, 66), 36.0, (130, 150))
    second, _, _ = _square((98, 66), 36.0, (130, 150))
    rims = ((first > 0) & (first < 3.5)) | ((second > 0) & (second < 3.5))
    particles = measure_field(_picture(rims), FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([36**2, 36**2], rel=0.06)


def test_solid_bays_are_not_filled():
    depth, u, v = _square((70, 66), SIDE, (130, 140))
    body = (depth > 0) & ~((u > 0) & (abs(v) < 10))
    particles = measure_field(_picture(body), FieldSettings(), 1.0).particles
    assert particles["area_px2"].sum() == pytest.approx(SIDE**2 - 20 * SIDE / 2, rel=0.05)
    assert not (particles["flags"] & bits("broken_rim")).any()


@pytest.mark.parametrize("blur_px", [1.2, 2.0, 3.0])
@pytest.mark.parametrize("width_px", [3.0, 5.0, 9.0])
def test_the_edge_of_a_blurred_rim_is_found_when_the_blur_is_known(blur_px, width_px):
    depth, _, _ = _square((70, 66), SIDE + 16, (130, 140))
    rim = cv2.resize(
        ((depth > 0) & (depth < width_px)).astype(np.float32), (140, 130), interpolation=cv2.INTER_AREA
    )
    field = cv2.GaussianBlur(rim, (0, 0), blur_px)
    half = (SIDE + 16) / 2 + 1.0  # an outline drawn 1 px too far out
    along = np.linspace(-half + 4, half - 4, 50)
    u, v = np.concatenate([along, np.full(50, half)]), np.concatenate([np.full(50, -half), along])
    u, v = np.concatenate([u, -u]), np.concatenate([v, -v])
    outline = np.column_stack(
        [70 + u * np.cos(TURN) - v * np.sin(TURN), 66 + v * np.cos(TURN) + u * np.sin(TURN)]
    )
    line = rim_line(profiles(field, outline, 20.0))
    assert line is not None
    shift = rim_shift(line, blur_px)
    assert shift == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize("radius_px", [8.0, 20.0])
def test_the_edge_of_a_round_rim_lies_outside_where_blur_draws_it_in(radius_px):
    """Level lines of a picture blurred by a Gaussian run inwards by sigma^2 / 2R (heat equation)."""
    line = _strip(40.0, 2.0)  # so wide that nothing but the bend moves its edge
    moved = moved_to_edge(shapely.Point(0, 0).buffer(radius_px, 64), line, 2.0)
    assert np.sqrt(moved.area / np.pi) == pytest.approx(radius_px + 2.0**2 / (2 * radius_px), abs=0.02)


@pytest.mark.parametrize("glow", [0.2, 0.5, 0.8])
def test_a_bright_line_inside_is_not_taken_for_the_rim(glow):
    """A dark rim 4 px wide from the outline on, and behind it a bright line of the light it sends inwards."""
    depth = np.arange(-5.0, 15.0, 0.25)
    dark = 0.4 * (ndtr(depth / 1.1) - ndtr((depth - 4.0) / 1.1))
    line = rim_line(np.tile(glow * np.exp(-(((depth - 6.5) / 1.5) ** 2)) - dark, (40, 1)))
    assert line is not None
    assert line.at_px == pytest.approx(0.0, abs=0.2)
    assert line.looks_px == pytest.approx(4.0, abs=0.6)


def test_a_line_looks_as_wide_as_its_blur():
    """A Gaussian is 2.355 sigma wide at half its height (from memory); a wide strip has its edge there."""
    assert strip_inset(2.0 * 2.355, 2.0) == pytest.approx(2.355, abs=0.35)
    assert strip_inset(40.0, 2.0) == pytest.approx(0.0, abs=0.02)


def _strip(width_px: float, sigma_px: float, height: float = 0.4) -> RimLine:
    """A strip blurred by a Gaussian, from its closed form."""
    x = np.arange(-20.0, 20.0, 0.01)
    seen = ndtr((x + 0.5 * width_px) / sigma_px) - ndtr((x - 0.5 * width_px) / sigma_px)
    looks = 0.01 * float((seen >= 0.5 * seen.max()).sum())
    return RimLine(0.0, looks, height * float(seen.max()), float(np.gradient(seen, 0.01).max() / seen.max()))


@pytest.mark.parametrize("width_px", [3.5, 5.0, 7.0])
def test_rims_of_one_stuff_tell_how_far_each_is_out_of_focus(width_px):
    """Blur spreads the darkness of a rim: wide and faint ones among dark ones are thin and out of focus."""
    blurs = np.array([1.2, 1.2, 1.3, 1.6, 2.0, 2.4, 2.8])
    lines = [_strip(width_px, blur) for blur in blurs]
    sigma = rim_sigmas(lines, np.linspace(1.1, 3.0, 20))
    assert sigma == pytest.approx(blurs, rel=0.2)
    for line, blur, own in zip(lines, blurs, sigma, strict=True):
        assert rim_shift(line, own) == pytest.approx(0.5 * (line.looks_px - width_px), abs=0.3 * blur)


def test_rims_are_taken_for_sharp_where_the_bodies_are():
    lines = [_strip(3.5, 1.2, height) for height in (0.25, 0.3, 0.35, 0.4, 0.4, 0.45)]
    assert rim_sigmas(lines, np.full(10, 1.2)) == pytest.approx(1.2, rel=0.1)
    assert len(rim_sigmas([], np.full(10, 1.2))) == 0


@pytest.mark.parametrize("bodies_px", [np.zeros(0), np.array([1.2, 1.2]), np.full(10, 4.0)])
def test_rims_tell_their_blur_alone_where_no_body_does(bodies_px):
    """A wide strip shows the blur by its flank; of thin ones the more blurred of one stuff are told apart."""
    (wide,) = rim_sigmas([_strip(7.0, 1.2)], bodies_px)
    assert wide == pytest.approx(1.2, rel=0.1)
    thin = [_strip(3.0, blur) for blur in (1.2, 1.2, 1.3, 1.6, 1.8)]
    assert rim_sigmas(thin, bodies_px) == pytest.approx([1.2, 1.2, 1.3, 1.6, 1.8], rel=0.25)


def test_crystals_out_of_focus_come_out_as_large_as_sharp_ones():
    """Squares of 44 px with rims of 3 px, and discs, each row of them blurred more than the one above."""
    rows = []
    for blur in (1.1, 1.1, 1.8, 2.6):
        parts = []
        for k in range(4):
            depth, _, _ = _square((45, 45), SIDE, (90, 90))
            y, x = (np.mgrid[:720, :720] + 0.5) / 8
            piece = (depth > 0) & (depth < 3.0) if k < 2 else np.hypot(x - 45, y - 45) < 20
            parts.append(cv2.resize(piece.astype(np.float32), (90, 90), interpolation=cv2.INTER_AREA))
        rows.append(cv2.GaussianBlur(np.hstack(parts), (0, 0), blur))
    cover = np.vstack(rows)[..., None]
    light = np.array([0.72, 0.66, 0.50]) * (1 - 0.55 * cover)
    noise = np.random.default_rng(3).normal(0, 1.0, light.shape)
    pixels = np.clip(np.rint(255 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    found = measure_field(Picture(pixels, name="rows"), FieldSettings(), 1.0).particles
    rims = found["area_px2"][(found["flags"] & bits("rim_only")) > 0]
    assert len(rims) == 8
    assert np.sqrt(rims) == pytest.approx(SIDE, rel=0.03)


def test_a_hook_with_a_thick_corner_is_completed():
    """Light from one side: two sides and the shade where they meet are all that is seen."""
    depth, u, v = _square((70, 66), SIDE, (130, 140))
    sides = (depth > 0) & (depth < 6) & ((u < -16) | (v < -16))
    corner = (depth > 0) & (u + v < -32)
    particles = measure_field(_picture(sides | corner), FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([SIDE**2], rel=0.1)
    assert particles["flags"][0] & bits("broken_rim")


def test_sides_of_a_hook_no_longer_than_its_rim_is_wide_stay_its_sides():
    turns = np.arange(6) * np.pi / 3
    corners = 45.0 + 20.0 * np.c_[np.cos(turns), np.sin(turns)]
    field = np.zeros((90, 90), np.float32)
    seen = np.rint((corners[:3] - 0.5) * 16).astype(np.int32)
    cv2.polylines(field, [seen], False, 1.0, 3, cv2.LINE_AA, 4)
    hull = shapely.Polygon(corners)
    outline = np.array([hull.exterior.interpolate(d).coords[0] for d in np.arange(0, hull.length, 0.5)])
    shape, share = completed(field, hull, outline, np.zeros(2), 1.0, 10.0)
    assert shape.area >= 0.99 * hull.area
    assert 0.0 < share < 0.6


def test_a_coloured_hook_is_no_rim():
    """A bent flake takes away blue light, a rim takes all alike: only the rim is completed."""
    depth, u, v = _square((70, 66), SIDE, (130, 140))
    hook = (depth > 0) & (depth < 6) & ~((u > 6) | (v > 6))
    cover = cv2.resize(hook.astype(np.float32), (140, 130), interpolation=cv2.INTER_AREA)
    cover = cv2.GaussianBlur(cover, (0, 0), 1.0)[..., None]
    noise = np.random.default_rng(3).normal(0, 1.2, (130, 140, 3))
    values = np.array([222, 212, 184]) * (1 - cover * np.array([0.05, 0.35, 0.6])) + noise
    picture = Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="hook")
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    assert not (particles["flags"] & bits("broken_rim")).any()
    assert particles["area_px2"].sum() < 1.2 * cover.sum()  # its hull is three times as large


def test_sides_that_meet_in_a_spike_are_no_corner():
    """A left side and an oblique one, between which the side is missing, meet far out."""
    corners = np.array([[40, 55], [40, 86], [52, 96], [66, 94], [76, 84], [58, 50]], np.float64)
    field = np.zeros((130, 130), np.float32)
    seen = np.rint((corners - 0.5) * 16).astype(np.int32)
    cv2.polylines(field, [seen], False, 1.0, 4, cv2.LINE_AA, 4)
    hull = shapely.Polygon(corners)
    outline = np.array([hull.exterior.interpolate(d).coords[0] for d in np.arange(0, hull.length, 0.5)])
    shape, _ = completed(field, hull, outline, np.zeros(2), 1.0, 2.0)
    assert shape.area < 1.1 * hull.area
    assert shape.bounds[1] > 45.0


def test_a_bit_of_rim_in_the_gap_of_a_corner_does_not_keep_it_open():
    _, u, v = _square((70, 66), SIDE, (130, 140))
    bit = (u > 15) & (v > 15) & (u < 22) & (v < 22)
    particles = measure_field(_picture(_rim("corner") | bit), FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    assert particles["area_px2"][counted] == pytest.approx([SIDE**2], rel=0.06)


@pytest.mark.parametrize("half_px", [2.0, 2.5])
def test_a_small_rim_in_bits_is_outlined_as_one(half_px):
    """Only the middles of its four sides show, and no place inside it is far from one of them."""
    side, turn = 11.0, 0.78
    y, x = (np.mgrid[:240, :240] + 0.5) / 8 - 15
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    depth = side / 2 - np.maximum(abs(u), abs(v))
    shown = (depth > 0) & (depth < 2.2) & ((abs(u) < half_px) | (abs(v) < half_px))
    rim, whole = (
        cv2.resize(m.astype(np.float32), (30, 30), interpolation=cv2.INTER_AREA) for m in (shown, depth > 0)
    )
    delta = np.zeros((30, 30, 3), np.float32)
    delta[..., 0] = -25.0 * cv2.GaussianBlur(rim, (0, 0), 1.1)
    outline = place_rim_edge(delta, (whole > 0.5).view(np.uint8), np.zeros((30, 30), bool))
    assert outline is not None
    assert 0.65 * side**2 < cv2.contourArea(outline) < 1.05 * side**2


def test_a_side_that_is_only_fainter_is_no_corner_missing():
    corners = np.array([(60, 22), (92, 44), (88, 82), (52, 98), (24, 62)], np.float32)
    heights = (0.3, 1.0, 1.0, 1.0, 0.3)  # light comes from one side
    shape = (130, 130)
    depth = np.zeros(shape, np.float32)
    for k, height in enumerate(heights):
        line = np.zeros(shape, np.float32)
        ends = [tuple(np.round(corners[n % 5] * 16).astype(int).tolist()) for n in (k, k + 1)]
        cv2.line(line, *ends, height, 3, cv2.LINE_AA, 4)
        depth = np.maximum(depth, line)
    light = cv2.GaussianBlur(np.exp(-0.6 * depth), (0, 0), 0.8)[..., None] * np.array([226.0, 214.0, 184.0])
    noise = np.random.default_rng(3).normal(0, 1.0, light.shape)
    picture = Picture(np.clip(np.rint(light + noise), 0, 255).astype(np.uint8), name="plate")
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    grown = cv2.contourArea(corners) + 1.5 * cv2.arcLength(corners, True)
    assert particles["area_px2"] == pytest.approx([grown], rel=0.08)
