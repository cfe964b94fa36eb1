"""Borders between neighbours found as two, of which is known whether they are, for fitting the evidence.

Fields of five drawing hands, real pieces laid on real grounds, and blood films with marked cells. Seeds that
figures are reported on, looks that are held out, and the tune seeds of `smears`, are not among them.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple
from unittest import mock
from zlib import crc32

import cv2
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parent))

from random_looks import random_look

from measure.field import pipeline
from measure.field.basics.found import Found
from measure.field.basics.polygons import polygon_of
from measure.field.ground.light import Light
from measure.field.whole_field.joined_again import borders_of, seen_traits, solid_alone
from measure.model import FieldSettings, Picture
from measure.picture_file import read_picture
from measure.render import render_field
from measure.render.recipes import CONDITIONS, TUNED, resized
from tests.benchmarks.lone.draw import draw as draw_lone
from tests.benchmarks.other_hand.draw import draw as draw_other
from tests.benchmarks.other_hand.looks import HELD as HELD_OTHER
from tests.benchmarks.other_hand.looks import LOOKS as OTHER
from tests.benchmarks.pasted.compose import compose
from tests.benchmarks.pasted.looks import HELD as HELD_PASTED
from tests.benchmarks.pasted.looks import LOOKS as PASTED
from tests.benchmarks.pasted.looks import TUNE_SEEDS
from tests.benchmarks.ragged.draw import LOOKS as RAGGED
from tests.benchmarks.ragged.draw import draw as draw_ragged
from tests.benchmarks.ragged.plate import PLATES, draw_plate
from tests.benchmarks.smears.draw import draw as draw_smear
from tests.benchmarks.smears.looks import LOOKS as SMEARS

_OWN = 0.6  # share of a found piece that must lie in a true one to be of it
_AS_MUCH = 0.1  # less than the most, with which another true piece is as likely
_FILMS, _LEAST_CELL_PX = (64, 94, 314, 331, 721), 15.7
_ALL_CELLS = "64"  # every border found in this film parts two cells, marked or not, judged by eye
_SIDE_PX, _WIDE_PX = 900, 1000
_LONE_SEEDS, _RAGGED_SEED, _OTHER_SEED, _DRAWN_SEED = range(100, 120), 101, 101, 1100
_RANDOM_LOOKS = range(100, 106)
_SMEAR_SEEDS = range(300, 302)


class Border(NamedTuple):
    """A border: who drew the field and how, its traits, and whether two true pieces meet there."""

    hand: str
    look: str
    traits: np.ndarray
    two: bool


class _Field(NamedTuple):
    hand: str
    look: str
    picture: Picture
    truth: list[np.ndarray]  # outlines
    marks: np.ndarray | None = None  # middles of true pieces instead
    smallest_px: float | None = None


class _EnoughError(Exception):
    """Enough of a field is known."""


def gathered() -> Iterator[Border]:
    """Borders of all fields."""
    for field in _fields():
        found, light = _found(field)
        if len(found.outlines) < 2:
            continue
        shapes = [polygon_of(outline) for outline in found.outlines]
        owner = _owners(shapes, field.truth) if field.marks is None else _marked(shapes, field)
        pairs = borders_of(found)
        alone = solid_alone(found, pairs)
        for one, other in pairs:
            if min(owner[one], owner[other]) < 0:
                continue
            traits = seen_traits([found.outlines[one], found.outlines[other]], light, alone)
            if traits is not None:
                yield Border(field.hand, field.look, traits, owner[one] != owner[other])


def _found(field: _Field) -> tuple[Found, Light]:
    """What is found in a field before borders are judged."""
    seen: list[tuple[Found, Light]] = []

    def stop(found: Found, light: Light, _: float) -> Found:
        seen.append((found, light))
        raise _EnoughError

    settings = FieldSettings(smallest_um=field.smallest_px)
    with mock.patch.object(pipeline, "joined_again", stop), suppress(_EnoughError):
        pipeline.measure_field(field.picture, settings, 1.0)
    return seen[0]


def _fields() -> Iterator[_Field]:
    for seed in _LONE_SEEDS:
        pixels, pieces = draw_lone(seed)
        yield _Field("lone", str(seed), Picture(pixels, name="lone"), [_outline(*p[2:]) for p in pieces])
    for n, name in enumerate((*RAGGED, *PLATES)):
        look = PLATES[name] if name in PLATES else RAGGED[name]
        drawing = draw_plate if name in PLATES else draw_ragged
        pixels, parts = drawing(look, _RAGGED_SEED + n, _SIDE_PX)  # type: ignore[arg-type]  # by its table
        truth = [_outline(p.mask, p.top, p.left) for p in parts]
        yield _Field("ragged", name, Picture(pixels, name=name, grey=look.grey), truth)
    for name in (name for name in PASTED if name not in HELD_PASTED):
        for seed in TUNE_SEEDS[:2]:
            yield _with_outlines("pasted", name, compose(name, seed, _SIDE_PX))
    for name in (name for name in OTHER if name not in HELD_OTHER):
        yield _with_outlines("other", name, draw_other(name, _OTHER_SEED, _WIDE_PX))
    for name in TUNED:
        seed = _DRAWN_SEED + crc32(name.encode()) % 100_000 * 1_000_000
        yield _with_outlines("first", name, render_field(resized(CONDITIONS[name], _SIDE_PX), seed))
    for number in _RANDOM_LOOKS:
        yield _with_outlines("first", str(number), render_field(random_look(number), number))
    for name in SMEARS:
        for seed in _SMEAR_SEEDS:
            smear = draw_smear(name, seed)
            grey = bool((np.ptp(smear.pixels.astype(int), axis=-1) == 0).all())
            truth = [_outline(p.mask, p.row, p.col) for p in smear.pieces]
            yield _Field("smears", name, Picture(smear.pixels, name=name, grey=grey), truth)
    yield from _films(Path(os.environ["GRITLINE_DATA"]) / "blood_film_scalebar")


def _films(folder: Path) -> Iterator[_Field]:
    for number in _FILMS:
        marks = np.loadtxt(folder / f"{number}_centres.txt", usecols=(0, 1))
        yield _Field("film", str(number), read_picture(folder / f"{number}.jpg"), [], marks, _LEAST_CELL_PX)


def _with_outlines(hand: str, look: str, drawn) -> _Field:
    grey = bool(np.all(drawn.pixels == drawn.pixels[..., :1]))
    return _Field(hand, look, Picture(drawn.pixels, name=look, grey=grey), [t.outline for t in drawn.truth])


def _outline(mask: np.ndarray, top: int, left: int) -> np.ndarray:
    """Outline of a mask with its corner in the field, along the pixels' outer sides."""
    framed = np.pad(mask, 1).astype(np.uint8)
    lines, _ = cv2.findContours(framed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max(lines, key=len)[:, 0] + np.array([left - 0.5, top - 0.5])
    line = shapely.Polygon(points) if len(points) > 3 else shapely.MultiPoint(points)
    return np.array(line.buffer(0.5, join_style="mitre").exterior.coords)[:-1]


def _owners(shapes: list[shapely.Polygon], truth: list[np.ndarray]) -> list[int]:
    """Row of the true piece each found one is of, -1 for none."""
    true = np.array([polygon_of(outline) for outline in truth], object)
    tree, rows = shapely.STRtree(true), []
    for shape in shapes:
        near = tree.query(shape)
        shares = shapely.area(shapely.intersection(true[near], shape)) / max(shape.area, 1e-6)
        if not len(near) or shares.max() < _OWN:
            rows.append(-1)
            continue
        # under a larger piece the smaller one is meant
        likely = np.flatnonzero(shares > shares.max() - _AS_MUCH)
        rows.append(int(near[max(likely, key=lambda k: shares[k] / true[near[k]].area)]))
    return rows


def _marked(shapes: list[shapely.Polygon], field: _Field) -> list[int]:
    """Number of the one mark in each found piece, -1 where there is none or another."""
    mark, piece = shapely.STRtree(shapes).query(shapely.points(field.marks), predicate="within")
    alone = (np.bincount(mark)[mark] == 1) & (np.bincount(piece)[piece] == 1)
    rows = -np.arange(1, len(shapes) + 1) if field.look == _ALL_CELLS else np.full(len(shapes), -1)
    rows[piece[alone]] = mark[alone]
    return (rows + len(shapes) * (field.look == _ALL_CELLS)).tolist()
