"""Fields that overlap: each piece counted in one of them, weighted for the frame they make together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measure.field.several.repeats import Overlap
from measure.field.several.shared_pieces import repeats_of, shared_pieces
from measure.field.several.stitch import linked_groups, place_fields
from measure.flags import bits
from measure.model import Frame
from measure.particles import Particles
from measure.sizes.shared_frames import PlacedFrame, united_weight

ALSO_ON = "also on "  # how the reason of a piece counted on another field begins
_AT_EDGE, _REPEAT = bits("touches_frame", "meets_zone"), bits("repeat")


@dataclass(frozen=True)
class MeasuredField:
    """What counting once needs of a field."""

    name: str
    frame: Frame
    particles: Particles

    @property
    def width_px(self) -> int:
        """Columns."""
        return self.frame.width_px

    @property
    def height_px(self) -> int:
        """Rows."""
        return self.frame.height_px


def count_once(
    fields: Sequence[MeasuredField], links: Mapping[tuple[int, int], Overlap]
) -> dict[int, Particles]:
    """Count each piece once over fields that overlap.

    What was counted once before is first undone, so that it can be called again after any change.

    Parameters
    ----------
    fields : sequence of MeasuredField
    links : mapping of (first, second) to Overlap
        By places in ``fields``, first < second.

    Returns
    -------
    dict of int to Particles
        Those that changed, by place: pieces another field counts are set aside with its name and flagged,
        and ``stated_weight`` is that of the united frame for fields that hang together.
    """
    fresh = [counted_alone(field.particles) for field in fields]
    for (i, j), overlap in sorted(links.items()):
        gone = repeats_of(shared_pieces(fresh[i], fresh[j], overlap), fresh[i], fresh[j])
        for place, other, labels in ((i, j, gone[0]), (j, i, gone[1])):
            fresh[place] = _set_aside(fresh[place], labels, fields[other].name)
    for group in linked_groups(len(fields), links):
        _weigh(group, fields, fresh, links)
    return {
        place: new
        for place, (new, field) in enumerate(zip(fresh, fields, strict=True))
        if _differs(new, field.particles)
    }


def counted_alone(particles: Particles) -> Particles:
    """Return the particles as they are without other fields."""
    again = particles["flags"] & _REPEAT > 0
    if not again.any() and not np.isfinite(particles["stated_weight"]).any():
        return particles
    reasons, flags = particles["set_aside"].copy(), particles["flags"].copy()
    reasons[again & np.array([str(r).startswith(ALSO_ON) for r in reasons], bool)] = ""
    flags[again] &= ~_REPEAT
    weight = np.full(len(particles), np.nan)
    return particles.replaced(set_aside=reasons, flags=flags, stated_weight=weight)


def _set_aside(particles: Particles, labels: np.ndarray, other: str) -> Particles:
    if not len(labels):
        return particles
    here = np.isin(particles["label"], labels)
    reasons, flags = particles["set_aside"].copy(), particles["flags"].copy()
    reasons[here] = f"{ALSO_ON}{other}"
    flags[here] |= _REPEAT
    return particles.replaced(set_aside=reasons, flags=flags)


def _weigh(
    group: list[int],
    fields: Sequence[MeasuredField],
    fresh: list[Particles],
    links: Mapping[tuple[int, int], Overlap],
) -> None:
    own = {(group.index(i), group.index(j)): link for (i, j), link in links.items() if i in group}
    matrices, _ = place_fields([fields[place] for place in group], own)
    placed = [PlacedFrame(fields[p].frame, m) for p, m in zip(group, matrices, strict=True)]
    for place in group:
        particles = fresh[place]
        whole = particles["flags"] & _AT_EDGE == 0
        weight = np.full(len(particles), np.nan)
        weight[whole] = united_weight(placed, particles["feret_h_px"][whole], particles["feret_v_px"][whole])
        fresh[place] = particles.replaced(stated_weight=weight)


def _differs(new: Particles, old: Particles) -> bool:
    return new is not old and not (
        np.array_equal(new["set_aside"], old["set_aside"])
        and np.array_equal(new["flags"], old["flags"])
        and np.array_equal(new["stated_weight"], old["stated_weight"], equal_nan=True)
    )
