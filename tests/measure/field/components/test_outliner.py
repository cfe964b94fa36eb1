"""Pieces outlined many at a time, and cut once more at necks that show only in the outline."""

import cv2
import numpy as np
import pytest

from measure.field.basics.component import Parts
from measure.field.bodies.tails import Trimmed
from measure.field.components.outliner import Outliner, not_inside
from measure.flags import bits

LEAST_PX2 = 40.0


def blunt_pair(ragged: bool = False) -> tuple[np.ndarray, Parts]:
    """Two discs that touch, found together with their notches filled up; the field itself is sharp."""
    mask = np.zeros((90, 140), np.uint8)
    cv2.circle(mask, (45, 45), 26, 1, -1)
    if ragged:
        for x in range(78, 122, 8):
            cv2.line(mask, (x, 45), (x, 30 + 3 * (x % 3)), 1, 2)
        cv2.line(mask, (60, 45), (125, 45), 1, 3)
    else:
        cv2.circle(mask, (95, 45), 26, 1, -1)
    found = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (41, 41)))
    delta = np.zeros((*mask.shape, 3), np.float32)
    delta[..., 0] = -30.0 * cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)
    return delta, Parts(found.astype(np.int32), [[1]], frozenset())


def outlined(delta: np.ndarray, parts: Parts, cut_strength: float = 0.5):
    outliner = Outliner(1.0, LEAST_PX2, cut_strength)
    outliner.add(
        delta, parts, np.zeros(delta.shape[:2], bool), np.array([85.0, 0.0, 15.0]), np.zeros(2, np.float32)
    )
    return outliner.outlined()


def test_a_neck_that_shows_in_the_outline_is_cut():
    done = outlined(*blunt_pair())
    sizes = [cv2.contourArea(outline.astype(np.float32)) for outline in done.outlines]
    assert len(sizes) == 2
    assert sizes == pytest.approx([np.pi * 26.0**2] * 2, rel=0.06)
    assert done.group == [1, 1]  # still known as one cluster


def test_nothing_is_cut_without_strength():
    assert len(outlined(*blunt_pair(), cut_strength=0.0).outlines) == 1


def test_the_ragged_end_of_a_piece_is_not_made_a_piece():
    assert len(outlined(*blunt_pair(ragged=True)).outlines) == 1


def test_tails_are_looked_for_again_once_some_are_gone(monkeypatch):
    delta, parts = blunt_pair()
    parts.labels[:, 75:] = 0
    trims = []

    def without_tails(piece, outline, least_px2):
        x = int(outline[:, 0].max())
        if x < 60 or len(trims) == 9:
            return None
        trims.append(x)
        mask = piece.mask.copy()
        mask[:, x - 6 :] = 0
        return Trimmed(piece._replace(mask=mask), [])

    monkeypatch.setattr("measure.field.components.outliner.without_tails", without_tails)
    outlined(delta, parts)
    assert len(trims) == 2
    assert trims[1] < trims[0]


def test_what_crosses_a_crystal_is_not_hidden_by_it():
    """A spot inside a crystal is hidden by it, as inside any piece; a body it was told apart from is not."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    outlines = [60 * square + 10, 20 * square + 15, 20 * square + 45]
    crystal, body = bits("rim_only", "overlap"), bits("touching")
    assert not_inside(outlines, np.array([0, 0, body]), (90, 90)).tolist() == [0]
    assert not_inside(outlines, np.array([crystal, 0, body]), (90, 90)).tolist() == [0, 2]
    assert not_inside(outlines[::2], np.array([body, crystal]), (90, 90)).tolist() == [0, 1]
