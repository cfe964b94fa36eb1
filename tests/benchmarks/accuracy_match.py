"""Match found particles to drawn pieces by the overlap of their outlines."""

from dataclasses import dataclass

import numpy as np
import shapely

LIMIT_FACTOR = 1.25  # detection is judged from this many times the lower limit
LEAST_IOU = 0.5
MOST_HIDDEN = 0.5  # a piece more than half covered by others is not asked for
PASTE = ("kernel", "skin", "salt")
FLAKE_UM = 12.0


@dataclass(frozen=True)
class Verdicts:
    """One field judged. Found arrays are (K,), truth arrays (T,)."""

    truth_kind: np.ndarray
    truth_um: np.ndarray
    truth_inside: np.ndarray  # whole in the frame
    asked: np.ndarray  # truth pieces that must be found
    partner: np.ndarray  # found row of each truth piece, -1 for none
    found_kind: np.ndarray
    found_um: np.ndarray
    found_owner: np.ndarray  # truth row of each found one, -1 for none
    counted: np.ndarray
    large: np.ndarray  # found ones at or above the judged size
    doubt: np.ndarray
    kind_doubt: np.ndarray
    um_limit: float
    seconds: float = 0.0

    @property
    def hit(self) -> np.ndarray:
        """Truth pieces asked for, found and counted."""
        return self.asked & (self.partner >= 0) & self.counted[self.partner]

    @property
    def false(self) -> np.ndarray:
        """Counted, large enough, and no piece of paste."""
        foreign = np.array([o >= 0 and self.truth_kind[o] not in PASTE for o in self.found_owner], dtype=bool)
        return self.counted & self.large & ((self.found_owner < 0) | foreign)


def polygons(outlines: list[np.ndarray]) -> np.ndarray:
    """Return valid shapely polygons of closed outlines."""
    made = [shapely.Polygon(o) if len(o) >= 3 else shapely.Polygon() for o in outlines]
    return np.array([p if p.is_valid else p.buffer(0) for p in made], dtype=object)


def match(truth: list[np.ndarray], found: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Pair outlines one to one, greatest intersection over union first, at least 0.5.

    Returns
    -------
    partner : (T,) ndarray of int
        Row of the found outline of each truth outline, -1 for none.
    owner : (K,) ndarray of int
        The other way round.
    """
    partner, owner = np.full(len(truth), -1), np.full(len(found), -1)
    if not len(truth) or not len(found):
        return partner, owner
    a, b = polygons(truth), polygons(found)
    pair = shapely.STRtree(b).query(a, predicate="intersects")
    shared = shapely.area(shapely.intersection(a[pair[0]], b[pair[1]]))
    iou = shared / (shapely.area(a[pair[0]]) + shapely.area(b[pair[1]]) - shared)
    for k in np.argsort(-iou):
        i, j = pair[0][k], pair[1][k]
        if iou[k] < LEAST_IOU:
            break
        if partner[i] < 0 and owner[j] < 0:
            partner[i], owner[j] = j, i
    return partner, owner


def clipped(outline: np.ndarray, width_px: int, height_px: int) -> np.ndarray:
    """Return the part of an outline in the frame (its largest part), for matching only."""
    part = polygons([outline])[0].intersection(shapely.box(0, 0, width_px, height_px))
    parts = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon"]
    if not parts:
        return np.zeros((0, 2))
    return np.asarray(max(parts, key=lambda p: p.area).exterior.coords)[:-1]


def judge(rendered, result) -> Verdicts:
    """Judge one measured field against its truth."""
    from measure.flags import FLAGS
    from measure.model import KINDS

    height, width = rendered.pixels.shape[:2]
    particles, scale = result.particles, rendered.um_per_px
    truth = [clipped(t.outline, width, height) if t.touches_frame else t.outline for t in rendered.truth]
    partner, owner = match(truth, list(particles.outlines))
    kind = np.array([t.kind for t in rendered.truth])
    diameter = np.array([t.diameter_px for t in rendered.truth])
    inside = np.array([not t.touches_frame for t in rendered.truth], dtype=bool)
    seen = np.array([t.hidden_share <= MOST_HIDDEN for t in rendered.truth], dtype=bool)
    at_frame = (particles["flags"] & FLAGS["touches_frame"].bit) > 0
    return Verdicts(
        truth_kind=kind,
        truth_um=diameter * scale,
        truth_inside=inside,
        asked=inside & seen & np.isin(kind, PASTE) & (diameter >= LIMIT_FACTOR * result.smallest_px),
        partner=partner,
        found_kind=np.array([str(KINDS[k]) for k in particles["kind"]], dtype="U8"),
        found_um=particles.diameter_px * scale,
        found_owner=owner,
        counted=np.array([s == "" for s in particles["set_aside"]], dtype=bool) & ~at_frame,
        large=particles.diameter_px >= LIMIT_FACTOR * result.smallest_px,
        doubt=np.asarray(particles["doubt"], dtype=float),
        kind_doubt=np.asarray(particles["kind_doubt"], dtype=float),
        um_limit=result.smallest_px * scale,
    )


def volume_um3(kind: np.ndarray, diameter_um: np.ndarray) -> np.ndarray:
    """Return volumes: kernel and others as spheres, salt as cubes of the face, skin as flakes of 12 um."""
    area = np.pi / 4 * diameter_um**2
    sphere = np.pi / 6 * diameter_um**3
    return np.select(
        [kind == "salt", kind == "skin"], [area**1.5, np.minimum(area * FLAKE_UM, sphere)], sphere
    )


def volume_quantile(kind: np.ndarray, diameter_um: np.ndarray, share: float) -> float:
    """Return x_{share,3}: the size below which that share of the volume lies, interpolated mid-step."""
    if len(diameter_um) == 0:
        return float("nan")
    order = np.argsort(diameter_um)
    weight = volume_um3(kind, diameter_um)[order]
    level = (np.cumsum(weight) - 0.5 * weight) / weight.sum()
    return float(np.interp(share, level, diameter_um[order]))
