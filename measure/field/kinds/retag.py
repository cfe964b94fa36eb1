"""Bring the kinds of measured particles up to date with another kind model, without undoing work by hand."""

from collections.abc import Mapping

import numpy as np

from measure.field.kinds.doubt import with_doubt
from measure.field.kinds.kinds import REASONS, tag
from measure.particles import Particles

_CHANGED = ("kind", "kind_doubt", "doubt", "flags", "set_aside")


def retag(particles: Particles, learned: Mapping | None) -> tuple[list[int], dict[str, np.ndarray]]:
    """Say which particles of a field another kind model changes, and their new columns.

    A piece whose kind stays keeps being counted or set aside as it is; a reason given by hand stays in any
    case. Kinds given by hand never change.

    Parameters
    ----------
    particles : Particles
        Of one field.
    learned : mapping or None
        As for `measure.field.kinds.kinds.tag`.

    Returns
    -------
    labels : list of int
        Particles that change.
    columns : dict of str to (K,) ndarray
        ``kind``, ``kind_doubt``, ``doubt``, ``flags`` and ``set_aside`` of those, in that order.
    """
    new = tag(particles, learned)
    moved = new["kind"] != particles["kind"]
    by_hand = ~np.isin(particles["set_aside"].astype(str), ["", *REASONS.values()])
    aside = np.where(moved & ~by_hand, new["set_aside"], particles["set_aside"])
    flags = np.where(moved, new["flags"], particles["flags"])
    new = with_doubt(new.replaced(set_aside=aside, flags=flags))
    differs = moved.copy()
    for name in ("kind_doubt", "doubt"):
        old, now = (np.nan_to_num(p[name], nan=-1.0) for p in (particles, new))
        differs |= np.abs(old - now) > 1e-3
    return particles["label"][differs].tolist(), {name: new[name][differs] for name in _CHANGED}
