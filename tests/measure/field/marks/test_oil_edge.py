"""What lies beyond the edge of the oil is left out and said; pieces that the frame cuts are not."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import zone_mask
from measure.field.marks.oil_edge import OIL_EDGE, oil_edge_zones
from measure.field.marks.own_marks import zones_by_itself
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (600, 800)
_OIL, _GLASS = (214, 206, 178), (236, 232, 226)
_GRAINS = ((520, 110, 24), (640, 300, 30), (560, 470, 22), (700, 520, 28), (470, 300, 20), (720, 120, 18))


def field(oil=_OIL, piece=(150, 110, 80)) -> np.ndarray:
    """Oil with grains in its right half, (M, N, 3) float32."""
    pixels = np.full((*_SIZE, 3), oil, np.float32)
    for x, y, r in _GRAINS:
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        reach = r * (1 + 0.12 * np.sin(3 * turn + x))
        corners = np.array([x, y]) + reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        cv2.fillPoly(pixels, [np.round(corners).astype(np.int32)], piece, cv2.LINE_AA)
    return pixels


def beyond_px(bend: float, wave: float, tilt: float = 0.0) -> np.ndarray:
    """How far each pixel lies beyond an edge in the left part of the picture, (M, N) float32."""
    y, x = np.mgrid[: _SIZE[0], : _SIZE[1]].astype(np.float32)
    v = y - _SIZE[0] / 2
    return 260.0 + bend * v**2 + wave * np.sin(v / 60.0) + tilt * v - x


def with_glass(away: np.ndarray, glass=_GLASS, line: float = 0.4, oil=_OIL) -> np.ndarray:
    """Dry glass where ``away`` is above 0, a dark line of that depth at its edge."""
    part = 1.0 / (1.0 + np.exp(-np.clip(away / 1.2, -40, 40)))
    pixels = field(oil) * (1 - part[..., None]) + np.float32(glass) * part[..., None]
    return pixels * (1.0 - line * np.exp(-0.5 * (away / 4.0) ** 2))[..., None]


def stored(pixels: np.ndarray) -> Picture:
    blurred = cv2.GaussianBlur(pixels.astype(np.float32), (0, 0), 1.0)
    blurred = blurred + np.random.default_rng(3).normal(0, 1.2, blurred.shape)
    return Picture(np.clip(np.rint(blurred), 0, 255).astype(np.uint8))


@pytest.mark.parametrize(
    ("away", "glass", "line"),
    [
        (beyond_px(3e-4, 0.0), _GLASS, 0.4),
        (beyond_px(0.0, 8.0, 0.3), _GLASS, 0.4),
        (beyond_px(0.0, 0.0, -0.2), (226, 226, 228), 0.0),
    ],
    ids=["meniscus", "wavy", "without a line"],
)
def test_what_lies_beyond_the_edge_is_left_out_and_said(away, glass, line):
    picture = stored(with_glass(away, glass, line))
    mask = zone_mask(_SIZE, oil_edge_zones(picture))
    assert mask is not None
    true = away > 0
    assert np.logical_and(mask, true).sum() > 0.93 * np.logical_or(mask, true).sum()
    assert mask[true].mean() > 0.99
    result = measure_field(picture, FieldSettings(), 1.0)
    particles = result.particles
    assert int((particles["set_aside"] == "").sum()) == len(_GRAINS)
    told = [note for note in result.notes if note.startswith(OIL_EDGE)]
    assert len(told) == 1
    assert f"{100 * mask.mean():.0f} % of the picture, is left out" in told[0]
    assert len(zones_by_itself(picture)) == len(result.frame.zones) == 1
    assert oil_edge_zones(picture, result.frame.zones) == ()


def test_the_faint_foot_of_the_meniscus_is_left_out_too():
    away = beyond_px(3e-4, 0.0)
    foot = 1.0 - 0.15 * np.exp(np.minimum(away, 0.0) / 10.0) * (away < 0)
    mask = zone_mask(_SIZE, oil_edge_zones(stored(with_glass(away) * foot[..., None])))
    assert mask is not None
    assert mask[away > -15.0].mean() > 0.995  # where 3 % of the light is missing, a sliver would be found
    assert not mask[away < -45.0].any()


def test_it_counts_where_that_is_asked_for():
    result = measure_field(stored(with_glass(beyond_px(3e-4, 0.0))), FieldSettings(), 1.0, border=False)
    assert result.frame.zones == ()
    assert any(note.startswith(OIL_EDGE) and "as was asked for" in note for note in result.notes)


def large_piece(colour, rim=None) -> np.ndarray:
    """A piece that the frame cuts, with a corner, over a fifth of the field."""
    pixels = field()
    corners = np.array([[-5, 60], [250, 130], [300, 420], [-5, 560]], np.int32)
    cv2.fillPoly(pixels, [corners], colour, cv2.LINE_AA)
    if rim is not None:
        cv2.polylines(pixels, [corners], True, rim, 7, cv2.LINE_AA)
    return pixels


def shade() -> np.ndarray:
    """Less light on one side, of all colours alike, over pieces as over the oil."""
    pixels = np.concatenate([field()[:, ::-1][:, :400], field()[:, 400:]], axis=1)
    lit = 1.0 / (1.0 + np.exp(-np.clip(-beyond_px(0.0, 0.0) / 3.0, -40, 40)))
    return pixels * (0.75 + 0.25 * lit)[..., None]


def falling_light() -> np.ndarray:
    return field() * np.linspace(0.6, 1.0, _SIZE[1], dtype=np.float32)[None, :, None]


def light_piece_on_a_dark_plate() -> np.ndarray:
    """A straight side from frame to frame with a shadow along it."""
    oil = (60, 60, 62)
    pixels = with_glass(beyond_px(0.0, 0.0), (200, 190, 160), 0.5, oil=oil)
    rng = np.random.default_rng(5)
    grain = cv2.GaussianBlur(rng.normal(0, 60, _SIZE).astype(np.float32), (0, 0), 3)
    return pixels + np.where(beyond_px(0.0, 0.0) > 4, grain, 0)[..., None]


@pytest.mark.parametrize(
    "pixels",
    [
        field(),
        large_piece((150, 110, 80)),
        large_piece((216, 208, 181), (120, 116, 105)),
        shade(),
        falling_light(),
        light_piece_on_a_dark_plate(),
        field()[:80, :80],
    ],
    ids=["oil all over", "kernel", "crystal", "shade", "falling light", "dark plate", "tiny"],
)
def test_other_fields_are_left_whole(pixels):
    assert oil_edge_zones(stored(pixels)) == ()
