"""Bubbles of air and drops of water are set aside by what each of them shows, whatever lies beside them."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.kinds.kinds import bubble_form
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import KINDS, Picture


def balls_and_lumps(balls, lumps, ring, middle, gloss=0.0):
    """Balls with a ring that passes a share of the light and a middle that gathers it, and brown lumps."""
    y, x = np.mgrid[:260, :560] + 0.5
    light = np.ones((*x.shape, 3))
    outlines = []
    for i in range(balls + lumps):
        cx, cy, radius = 40.0 + 80 * (i % 7), 35.0 + 65 * (i // 7), 14.0 + 2.0 * (i % 5)
        t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
        if i < balls:
            away = np.hypot(x - cx, y - cy) / radius
            dark = (1.0 - ring) * np.exp(-(((away - 0.93) / 0.1) ** 2)) * (away < 1.0)
            own = (1.0 - dark) * (1.0 + middle * np.exp(-((away / 0.5) ** 2)))
            fringe = gloss * np.exp(-(((away - 1.0) * radius - 1.5) ** 2))
            light *= np.where(away < 1.0, own, 1.0 + fringe)[..., None]
            outlines.append(np.c_[cx + radius * np.cos(t), cy + radius * np.sin(t)])
        else:
            angle = np.arctan2(y - cy, x - cx)
            away = np.hypot(x - cx, y - cy) / (radius + 2.0 * np.cos(3 * angle) + 1.5 * np.cos(5 * angle))
            depth = np.sqrt(np.clip(1.0 - away**2, 0.0, 1.0))[..., None]
            light *= 10.0 ** (-depth * np.array([0.15, 0.3, 0.55]))
            wide = radius + 2.0 * np.cos(3 * t) + 1.5 * np.cos(5 * t)
            outlines.append(np.c_[cx + wide * np.cos(t), cy + wide * np.sin(t)])
    light = cv2.GaussianBlur(light, (0, 0), 0.9) * np.array([0.7, 0.64, 0.5])
    noise = np.random.default_rng(2).normal(0, 1.2, light.shape)
    pixels = np.clip(255.0 * light ** (1 / 2.2) + noise, 0, 255)
    picture = Picture(pixels.round().astype(np.uint8))
    return measure_outlines([np.float32(outline) for outline in outlines], picture, prepare(picture))


@pytest.mark.parametrize(("balls", "lumps"), [(14, 0), (14, 3), (14, 8), (6, 0), (3, 12)])
@pytest.mark.parametrize(("ring", "middle"), [(0.1, 0.12), (0.65, 0.12)])
def test_bubbles_are_set_aside_however_many_they_are(balls, lumps, ring, middle):
    found = balls_and_lumps(balls, lumps, ring, middle)
    assert set(found["set_aside"][:balls]) == {"air bubble"}
    assert all(found["set_aside"][balls:] == "")
    assert {KINDS[k] for k in found["kind"][balls:]} <= {"kernel"}


@pytest.mark.parametrize(("balls", "lumps"), [(4, 14), (14, 4)])
def test_drops_of_water_with_a_faint_ring_are_no_food(balls, lumps):
    found = balls_and_lumps(balls, lumps, 0.7, 0.12, gloss=0.09)
    assert found["rim_density"][:balls].max() < 0.1
    assert set(found["set_aside"][:balls]) == {"air bubble"}
    assert all(found["set_aside"][balls:] == "")
    # nor are drops that bend light so little that their middle is as clear as the oil
    clear = balls_and_lumps(balls, lumps, 0.75, 0.0)
    assert set(clear["set_aside"][:balls]) == {"air bubble"}
    assert all(clear["set_aside"][balls:] == "")
    # a ball whose middle takes light away, however little, is counted: starch, powdered milk
    milky = balls_and_lumps(balls, lumps, 0.7, -0.1)
    assert not bubble_form(milky)[0].any()
    assert all(milky["set_aside"] == "")


def bright_discs(gain, radius, ring=0.0, ragged=0.0, lamp=(0.7, 0.7, 0.7), held=0.6):
    """Discs brighter than the oil farther in, outlined at a share of their radius, and brown lumps."""
    y, x = np.mgrid[:300, :420] + 0.5
    light, outlines, t = np.ones((*x.shape, 3)), [], np.linspace(0, 2 * np.pi, 120, endpoint=False)
    for i in range(12):
        cx, cy = 50.0 + 105 * (i % 4), 50.0 + 100 * (i // 4)
        angle = np.arctan2(y - cy, x - cx)
        own = radius * (1 + ragged * np.cos(5 * angle))
        away = np.hypot(x - cx, y - cy) / own
        if i < 6:
            faint = 1.0 - ring * np.exp(-(((away - 1.0) * radius / 1.5) ** 2))
            light *= (np.where(away < 1.0, 1.0 + gain * (1.0 - away**2), 1.0) * faint)[..., None]
            edge = held * radius * (1 + ragged * np.cos(5 * t))
        else:
            light *= 10.0 ** (-np.sqrt(np.clip(1.0 - away**2, 0, 1))[..., None] * np.array([0.15, 0.3, 0.55]))
            edge = radius * (1 + ragged * np.cos(5 * t))
        outlines.append(np.float32(np.c_[cx + edge * np.cos(t), cy + edge * np.sin(t)]))
    light = cv2.GaussianBlur(light, (0, 0), 0.9) * np.array(lamp)
    noise = np.random.default_rng(3).normal(0, 1.2, light.shape)
    pixels = np.clip(255.0 * light ** (1 / 2.2) + noise, 0, 255).round().astype(np.uint8)
    return measure_outlines(outlines, Picture(pixels), prepare(Picture(pixels)))


@pytest.mark.parametrize(("ring", "held"), [(0.0, 0.7), (0.12, 0.6), (0.12, 1.1)])
def test_a_disc_brighter_than_the_oil_is_a_drop_whether_or_not_its_ring_was_outlined(ring, held):
    found = bright_discs(0.25, 22.0, ring, held=held)
    assert set(found["set_aside"][:6]) == {"air bubble"}
    assert all(found["set_aside"][6:] == "")


def test_what_is_bright_but_not_round_or_round_but_not_bright_is_no_drop():
    assert all(bright_discs(0.25, 22.0, 0.12, ragged=0.12)["set_aside"] == "")
    assert all(bright_discs(0.02, 22.0, 0.12)["set_aside"] == "")
    # what displaces stained oil is brighter than it
    assert all(bright_discs(0.25, 22.0, lamp=(0.5, 0.3, 0.12))["set_aside"] == "")
