"""Outlines in, particles out: the one way in which automatic and hand-made outlines are measured."""

from collections.abc import Mapping, Sequence

import numpy as np

from measure.errors import InvalidInput
from measure.field.basics.polygons import cleaned
from measure.field.basics.shape import shape_columns
from measure.field.edges.features import feature_columns
from measure.field.ground.light import Light
from measure.field.ground.scatter import scattering
from measure.field.kinds.doubt import with_doubt
from measure.field.kinds.kinds import tag
from measure.flags import bits
from measure.model import Picture
from measure.outlines import bounds
from measure.particles import Particles, make_particles

_WITHOUT_TONES = 0.5  # doubt of a kind told by form alone: as likely wrong as right


def measure_outlines(
    outlines: Sequence[np.ndarray],
    picture: Picture,
    light: Light,
    learned: Mapping | None = None,
    parent: np.ndarray | None = None,
    flags: np.ndarray | None = None,
    origin: np.ndarray | None = None,
    table: str | None = None,
) -> Particles:
    """Measure outlines on a field, tag their kinds and say how doubtful each is.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Closed polygons, x and y in px, corner of the first pixel at 0, 0.
    picture : Picture
    light : Light
        `measure.field.ground.light.prepare` of that picture.
    learned : mapping, optional
        A kind model learned from the user's tags (`measure.field.kinds.learn`).
    parent, flags, origin : (K,) ndarray of int, optional
        Cluster numbers, flag bits already known, codes of `measure.model.ORIGINS`; 0 where not given.
    table : str, optional
        `measure.field.kinds.kinds.table_of` the field, where these are only some of its pieces.

    Returns
    -------
    Particles
        Labels 1..K.

    Raises
    ------
    InvalidInput
        If an outline has fewer than three points or lies outside the picture.
    """
    clean = [cleaned(outline) for outline in outlines]
    _check(clean, light.delta.shape[:2])
    columns = dict(shape_columns(clean))
    columns |= feature_columns(clean, picture, light, columns, flags)
    columns["flags"] = columns["flags"] | bits("scatters") * scattering(clean, light)
    columns["label"] = np.arange(1, len(clean) + 1)
    for name, values in (("parent", parent), ("origin", origin)):
        if values is not None:
            columns[name] = values
    tagged = tag(make_particles(clean, **columns), learned, table)
    return with_doubt(_doubted(tagged) if light.contrast and not learned else tagged)


def _doubted(particles: Particles) -> Particles:
    """Particles whose kinds are told by form alone, since the light shows no tones: none of them is sure."""
    told = particles["set_aside"] == ""
    doubt = np.where(told, np.maximum(particles["kind_doubt"], _WITHOUT_TONES), particles["kind_doubt"])
    return particles.replaced(kind_doubt=doubt)


def _check(outlines: Sequence[np.ndarray], size: tuple[int, int]) -> None:
    if all(len(outline) > 2 for outline in outlines):
        box = bounds(outlines)
        near = (box[:, 2:] >= 0).all() and (box[:, :2] <= size[::-1]).all()
        if near and np.isfinite(box).all():
            return
    for i, outline in enumerate(outlines):
        if len(outline) < 3 or not np.isfinite(outline).all():
            raise InvalidInput(f"Outline {i + 1} has fewer than three different points, so it has no size.")
        low, high = outline.min(axis=0), outline.max(axis=0)
        if (high < 0).any() or low[0] > size[1] or low[1] > size[0]:
            raise InvalidInput(f"Outline {i + 1} lies outside the picture.")
