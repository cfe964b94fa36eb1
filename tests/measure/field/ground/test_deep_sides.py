"""Nearly black pieces in light from the side: where they shine they are as neutral as shadow."""

import numpy as np

from measure.field.ground.deep_sides import with_lit_sides

_SIZE = 80
_RIGHT = 0.0  # the light goes to the right, so shadow lies on the right of a piece


def _box(left: int, right: int, top: int = 30, bottom: int = 50) -> np.ndarray:
    mask = np.zeros((_SIZE, _SIZE), bool)
    mask[top:bottom, left:right] = True
    return mask


def _with_sides(pieces: np.ndarray, deep: np.ndarray, dark: np.ndarray) -> np.ndarray:
    return with_lit_sides(pieces.view(np.uint8), deep, dark & ~pieces, [_RIGHT]) > 0


def test_a_side_towards_the_lamp_belongs_to_a_black_piece_and_its_shadow_does_not():
    piece, shine, shadow = _box(30, 50), _box(22, 30), _box(50, 60)
    found = _with_sides(piece, piece, shine | shadow)
    assert found[shine].mean() > 0.95
    assert found[_box(53, 60)].sum() == 0


def test_the_edge_that_blur_mixes_is_the_piece_own():
    piece = _box(30, 50)
    edge = _box(29, 51, 29, 51) & ~piece
    assert _with_sides(piece, piece, edge)[_box(30, 50, 29, 51)].all()


def test_where_a_black_piece_shines_in_its_middle_is_its_own_but_bare_ground_is_not():
    shine = _box(36, 40, 38, 42)
    piece = _box(20, 60, 20, 60) & ~shine
    assert _with_sides(piece, piece, shine)[shine].all()
    assert not _with_sides(piece, piece, shine & (np.arange(_SIZE) < 38))[38:42, 38:40].any()


def test_what_is_dark_before_a_coloured_piece_stays():
    """It may be a crystal, or the shadow of another lamp."""
    piece, beside = _box(30, 50), _box(22, 30)
    assert not (_with_sides(piece, np.zeros_like(piece), beside) & ~piece).any()


def test_what_is_thicker_than_the_piece_behind_it_is_no_side_of_it():
    piece, beside = _box(50, 56), _box(20, 50)
    assert not _with_sides(piece, piece, beside)[_box(20, 48)].any()
