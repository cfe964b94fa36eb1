"""Particles to rows of the particle table, and back."""

from collections.abc import Callable, Sequence

import numpy as np

from measure.model import KINDS, ORIGINS
from measure.particles import COLUMNS, Particles, make_particles
from measure.study.journal import particle_id
from measure.study.outline_pack import CHUNK, pack_outlines, unpack_outlines
from measure.study.values import clean_text

NAMES = tuple(COLUMNS)
_CODES = {"kind": len(KINDS), "origin": len(ORIGINS)}
STORED = ("id", "field_id", *NAMES, "outline_pack", "outline_index")


def column_values(name: str, values: object, count: int) -> list:
    """Return a column as plain Python values of its declared type, nan as None.

    Parameters
    ----------
    values : array_like of length ``count``, or one value for all
    """
    dtype = COLUMNS[name][0]
    array = np.empty(count, dtype=dtype)
    array[:] = values
    if dtype == "O":
        return [clean_text(v) for v in array]
    if dtype == "?":
        return array.astype(int).tolist()
    plain = array.tolist()
    if dtype.startswith("f") and np.isnan(array).any():
        plain = [None if v != v else v for v in plain]
    return plain


def to_rows(field_id: int, particles: Particles, new_pack: Callable[[bytes], int]) -> list[tuple]:
    """Return rows for `STORED`; outlines go through ``new_pack``, which stores a pack and returns its id."""
    count = len(particles)
    columns = [column_values(name, particles[name], count) for name in NAMES]
    ids = [particle_id(field_id, label) for label in columns[0]]
    packs: list[int] = []
    places: list[int] = []
    for start in range(0, count, CHUNK):
        some = particles.outlines[start : start + CHUNK]
        packs += [new_pack(pack_outlines(some))] * len(some)
        places += range(len(some))
    return list(zip(ids, [field_id] * count, *columns, packs, places, strict=True))


def from_rows(rows: Sequence[tuple], read_pack: Callable[[int], bytes]) -> Particles:
    """Return the particles of rows with the columns `NAMES`, outline_pack, outline_index.

    Raises
    ------
    ValueError
        If a pack is damaged or lacks an outline.
    """
    if not rows:
        return make_particles([])
    *columns, packs, places = zip(*rows, strict=True)
    full = {name: _typed(name, values) for name, values in zip(NAMES, columns, strict=True)}
    opened = {pack: unpack_outlines(read_pack(pack)) for pack in set(packs)}
    if any(not 0 <= place < len(opened[pack]) for pack, place in zip(packs, places, strict=True)):
        raise ValueError("an outline is missing")
    outlines = tuple(opened[pack][place] for pack, place in zip(packs, places, strict=True))
    return Particles(full, outlines)


def _typed(name: str, values: tuple) -> np.ndarray:
    dtype = COLUMNS[name][0]
    if dtype[0] != "f" and None in values:  # a column added after this row was written
        values = tuple(("" if dtype == "O" else 0) if v is None else v for v in values)
    if dtype[0] == "i":  # a number too large must not wrap round to another
        wide = np.array(values, dtype=np.int64)
        array = wide.astype(dtype)
        if (array != wide).any() or (name in _CODES and not ((wide >= 0) & (wide < _CODES[name])).all()):
            raise ValueError(f"a particle has a {name} that cannot be")
        return array
    array = np.empty(len(values), dtype=dtype)
    with np.errstate(over="ignore"):
        array[:] = values
    return array


def merge(kept: Particles, fresh: Particles) -> Particles:
    """Put two sets together in the order of their labels."""
    labels = np.concatenate([kept["label"], fresh["label"]])
    order = np.argsort(labels, kind="stable")
    outlines = (*kept.outlines, *fresh.outlines)
    columns = {name: np.concatenate([kept[name], fresh[name]])[order] for name in NAMES}
    return Particles(columns, tuple(outlines[i] for i in order))
