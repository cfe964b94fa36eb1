"""Shadows and halos: slivers that hug a stronger piece are the light's doing, not pieces.

A lamp from the side throws a shadow, a bright edge rings, a lens flares. What they leave lies along a piece,
is thin or hollowed by it, and weaker than it. Such slivers stay listed, set aside with this reason.
"""

import cv2
import numpy as np

from measure.field.kinds.kinds import dust_form
from measure.field.whole_field.side_shadows import side_shadows
from measure.flags import bits
from measure.particles import Particles

REASON = "shadow or halo of the piece beside it"
THREAD = "thread between, along or across pieces"
STAIN = "faint and ragged or without an edge: a stain or a shadow"
_REACH_PX = (1.5, 3.0, 4.5)  # a gap of some pixels often stays between a piece and its halo
_LEAST_CONTACT = 0.15  # of the sliver's outline
_STRENGTH = 0.6  # a halo is weaker than what it belongs to
_SIZE = 0.35  # and much smaller
_HOLLOW, _THIN = 0.86, 0.5  # bent round its piece, and thin against it
_LESS_HOLLOW, _THINNER = 0.9, 0.35
_NEUTRAL = 0.35  # colour step over lightness step of what only the light made
_ALONG = 0.25  # share of a fringe's outline that lies along pieces
_BENT_LIGHT = 0.4  # thickness of a full bright place over that of the piece beside it: more is a piece
_AS_STRONG = 1.15  # a bent fringe may be as strong as its piece
_STAIN = 0.15  # strength over that of half the area found, below which a piece without an edge is a stain
_GRAIN = 0.1  # the same of what has an edge and is ragged
_FADING = 0.35  # width of an edge over the piece's size from which it is none
# width of an edge over that usual in the field, and over the thickness; strength as above: of what is long
# (squared length over area), as the rings of dried oil are, and of what is not, as dust on a lens is
_LONG, _STREAK = 3.4, (2.2, 0.5, 0.6)
_SMUDGE = (4.0, 0.3, 0.35)
_SEEN, _FAINTEST = 0.5, 0.05  # strength over that of so faint a piece with an edge, from which one is seen
_WITH_EDGE = 0.6  # share of pieces that have an edge, from which what has none is no piece
_BROAD_PX = 25.0  # breadth below which an edge may be missed for want of room
_FEW = 5  # pieces that do not tell what is usual
# edge width over size of a clear piece, and size of such pieces over that of the others from which they are
# the pieces of the field and no dust on them
_CLEAR, _NO_DUST = 0.25, 0.33
_GROUND = 0.25  # share of outlines that are faint and ragged, from which the ground itself is uneven
_BLUNT = 2.2  # edge width over that usual from which a place has no edge of its own, as of streaks above
# strength over that usual; how many thicker places make a fog (20 to 54 of them where there was one, one at
# most elsewhere, also in pale and hazy fields); share of them without an edge
_FOG, _MANY, _EDGELESS = 0.4, 8, 0.2
_GREY = 0.02  # colour over lightness in a grey picture; 0.002 by rounding
# strength over that usual and share of its hull, of a place of the film with an edge here and there: lumps
# 0.5 and 0.6 to 0.72, pieces lost in noise 0.6 and more, and 0.83 and more
_FILM, _BAYS = 0.6, 0.78
_SHADE, _SOFTER = 0.75, 1.25  # strength and edge width of a shadow over those of the piece that throws it
_AROUND = 0.5  # solidity of a thin ring
_RING = 0.8  # solidity of a crescent, dark or bright, along a piece


def set_aside_halos(particles: Particles, shape: tuple[int, int]) -> Particles:
    """Set slivers along stronger pieces aside.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    shape : (M, N)
        Rows and columns of the picture.

    Returns
    -------
    Particles
        The same, with a reason on what is a shadow, halo or thread. Pieces seen by their rims are left alone.
    """
    if len(particles) < 2:
        return particles
    reasons = particles["set_aside"].copy()
    shade = particles["flags"] & bits("shade") != 0
    share, beside = contact(particles, shape)
    slivers = _halo_like(particles, share, beside) | side_shadows(particles, share, beside)
    for i in np.flatnonzero(shade | slivers | fringe_like(particles, shape)):
        if reasons[i] == "":
            reasons[i] = REASON
    for i in np.flatnonzero(particles["flags"] & bits("thread") != 0):
        if reasons[i] == "":
            reasons[i] = THREAD
    ground = stain_like(particles) | smudge_like(particles, reasons == "") | fog_like(particles)
    ground |= film_like(particles)
    for i in np.flatnonzero(ground):
        if reasons[i] == "":
            reasons[i] = STAIN
    return particles.replaced(set_aside=reasons)


def halo_like(particles: Particles, shape: tuple[int, int]) -> np.ndarray:
    """Whether each piece is a sliver along a stronger one, (K,) ndarray of bool."""
    return _halo_like(particles, *contact(particles, shape))


def _halo_like(particles: Particles, share: np.ndarray, beside: np.ndarray) -> np.ndarray:
    near = beside >= 0
    strength = contrast(particles)
    other = np.where(near, beside, 0)
    weak = strength < _STRENGTH * strength[other]
    small = particles["area_px2"] < _SIZE * particles["area_px2"][other]
    solidity = particles["area_px2"] / np.maximum(particles["hull_area_px2"], 1e-6)
    thickness = particles["feret_min_px"] / np.maximum(particles["feret_min_px"][other], 1e-6)
    # what goes round its piece is as wide as that, however thin it is
    thickness[solidity < _AROUND] = 0.0
    bent = (solidity < _HOLLOW) & (thickness < _THIN)
    bent |= (solidity < _LESS_HOLLOW) & (thickness < _THINNER)
    opposite = particles["lightness_step"] * particles["lightness_step"][other] < 0
    ringing = opposite & (strength < strength[other]) & (solidity < _RING)
    sliver = (weak | ringing) & small & bent
    return near & (share > _LEAST_CONTACT) & (sliver | _shadow_like(particles, other))


def _shadow_like(particles: Particles, other: np.ndarray) -> np.ndarray:
    """Whether each piece is a crescent of shadow along another, which may be large, (K,) ndarray of bool.

    A piece half hidden under another is a crescent too, but has the other's sharp edge; that of a shadow is
    as soft as its lamp is wide.
    """
    p, strength, width = particles, contrast(particles), particles["edge_width_px"].astype(float)
    crescent = p["area_px2"] < _RING * p["hull_area_px2"]
    crescent &= p["area_px2"] < p["area_px2"][other]
    softer = width > _SOFTER * width[other]
    return crescent & softer & (strength < _SHADE * strength[other])


def stain_like(particles: Particles) -> np.ndarray:
    """Whether each piece is a stain of the ground, (K,) ndarray of bool: far fainter than most, and no edge.

    What is faint with an edge of its own stays counted, and so does all of a field where everything is faint.
    Only what is fainter still and ragged, like the grain of wood, is a stain for all its edge: pale crystals
    and skins have even outlines.
    """
    strength = contrast(particles)
    usual = middle_by_area(strength, particles["area_px2"])  # pale pieces with an edge have their say here
    width = particles["edge_width_px"].astype(float)
    edgeless = ~(width < _FADING * particles.diameter_px)
    ragged, _ = dust_form(particles)
    asked = particles["flags"] & bits("rim_only", "touches_frame") == 0
    faint = asked & (strength < _STAIN * usual)
    stain = (faint & edgeless) | (asked & (strength < _GRAIN * usual) & ragged)
    return stain | (faint & _of_a_stain(particles, faint, stain))


def smudge_like(particles: Particles, counted: np.ndarray) -> np.ndarray:
    """Whether each piece is a streak or smudge, (K,) ndarray of bool: far softer than the field's pieces.

    Rings of dried oil, the edge of the oil and dust on a lens lie out of focus by more than any piece of the
    smear can: they are weak, and their edges are a good part of their own thickness.

    Parameters
    ----------
    particles : Particles
        K pieces.
    counted : (K,) ndarray of bool
        Pieces that tell what is usual.
    """
    width = particles["edge_width_px"].astype(float)
    if (counted & np.isfinite(width)).sum() < _FEW:
        return np.zeros(len(particles), bool)
    strength = contrast(particles)
    long = np.maximum(particles["feret_max_px"].astype(float), 1e-6)
    area = np.maximum(particles["area_px2"].astype(float), 1e-6)
    softer = width / _usual_width(particles, counted)
    over_own, share = width * long / area, strength / max(_usual_strength(particles, strength), 1e-6)

    def beyond(softness: float, own: float, most: float) -> np.ndarray:
        return (softer > softness) & (over_own > own) & (share < most)

    glow = _edgeless(particles, strength) & (share < _SMUDGE[2])
    return glow | beyond(*_SMUDGE) | (beyond(*_STREAK) & (long**2 / area > _LONG))


def _edgeless(particles: Particles, strength: np.ndarray) -> np.ndarray:
    """Whether each piece has no edge though one would be seen, (K,) ndarray of bool: far out of focus.

    Noise does not hide the edge of what is half as strong as the faintest pieces that show one.
    """
    width = particles["edge_width_px"].astype(float)
    faint = particles["flags"] & bits("faint") != 0
    ragged, _ = dust_form(particles)
    clear = width < _FADING * particles.diameter_px
    if clear.sum() < _FEW or clear.mean() < _WITH_EDGE:
        return np.zeros(len(particles), bool)
    seen = strength > _SEEN * np.quantile(strength[clear], _FAINTEST)
    broad = particles["feret_min_px"] > _BROAD_PX
    return np.isnan(width) & faint & ragged & seen & broad


def fog_like(particles: Particles) -> np.ndarray:
    """Whether each piece is a thicker place of a fog, (K,) ndarray of bool.

    A haze of crystals far below the lower limit makes the ground uneven. Where it reaches the finding level,
    many places at once are faint, ragged and without colour, a good part of them without an edge of their
    own, and so is what was cut from one cluster with them. One such place alone may be a piece.
    """
    strength = contrast(particles)
    colour = np.hypot(particles["green_red_step"].astype(float), particles["blue_yellow_step"].astype(float))
    faint = particles["flags"] & bits("faint") != 0
    faint &= strength < _FOG * _usual_strength(particles, strength)
    faint &= colour < _NEUTRAL * np.abs(particles["lightness_step"].astype(float))
    ragged, _ = dust_form(particles)
    width = particles["edge_width_px"].astype(float)
    uneven = not _clear_pieces(particles).all()
    blunt = _BLUNT * _usual_width(particles, np.ones(len(particles), bool)) if uneven else np.inf
    edgeless = ~(width < blunt)
    # with an edge of its own it must be faint against all that was found, not only against clear pieces
    fainter = edgeless | (strength < _FOG * middle_by_area(strength, particles["area_px2"]))
    place = faint & ragged & fainter & (particles["flags"] & bits("rim_only", "touches_frame") == 0)
    if place.sum() < _MANY or (place & edgeless).sum() < _EDGELESS * place.sum():
        return np.zeros(len(particles), bool)
    # what seems a rim there is one only where it has an edge, or lies by itself
    between = (particles["parent"] > 0) & edgeless & (particles["flags"] & bits("touches_frame") == 0)
    return place | (faint & ragged & (between | _of_a_stain(particles, faint, place)))


def film_like(particles: Particles) -> np.ndarray:
    """Whether each piece of a grey picture is a thicker or thinner place of the film, (K,) ndarray of bool.

    A film varies in thickness within widths as large as its pieces. Where such a place comes up to the
    finding level, its outline is what noise makes of it: faint and ragged, and without an edge, or fainter
    than usual and full of bays. Pieces are as ragged in strong noise, but have an edge, and are stronger.
    """
    lightness = np.abs(particles["lightness_step"].astype(float))
    colour = np.hypot(particles["green_red_step"].astype(float), particles["blue_yellow_step"].astype(float))
    faint = particles["flags"] & bits("faint") != 0
    faint &= particles["flags"] & bits("rim_only") == 0
    if not faint.any() or (colour > _GREY * np.maximum(lightness, 1.0)).any():
        return np.zeros(len(particles), bool)
    strength = contrast(particles)
    faint &= dust_form(particles)[0]
    edgeless = ~np.isfinite(particles["edge_width_px"].astype(float))
    full = particles["area_px2"] / np.maximum(particles["hull_area_px2"], 1e-6)
    weak = (strength < _FILM * _usual_strength(particles, strength)) & (full < _BAYS)
    return faint & (edgeless | weak)


def _usual_strength(particles: Particles, strength: np.ndarray) -> float:
    """Strength below which half of the area of the field's pieces is."""
    telling = _clear_pieces(particles)
    return middle_by_area(strength[telling], particles["area_px2"][telling])


def _usual_width(particles: Particles, counted: np.ndarray) -> float:
    """Median edge width of the field's pieces, px; infinite where none is known."""
    width = particles["edge_width_px"].astype(float)
    known = _clear_pieces(particles) & counted & np.isfinite(width)
    return max(float(np.median(width[known])), 1e-6) if known.any() else np.inf


def _clear_pieces(particles: Particles) -> np.ndarray:
    """Pieces that tell what is usual in the field, (K,) ndarray of bool: those with a clear edge, or all.

    An uneven ground may give more outlines and more area than the pieces do. What lies in one layer has
    edges of one width, so pieces with a clear edge speak for the field, unless they are few or only dust.
    """
    width, diameter = particles["edge_width_px"].astype(float), particles.diameter_px
    ragged, _ = dust_form(particles)
    clear = (width < _CLEAR * diameter) & ~ragged & (particles["flags"] & bits("faint") == 0)
    everything = np.ones(len(particles), bool)
    ground = ~clear & ragged & (particles["flags"] & bits("faint") != 0)
    if clear.sum() < _FEW or ground.mean() < _GROUND:
        return everything
    area = particles["area_px2"]
    dust = middle_by_area(diameter[clear], area[clear]) < _NO_DUST * middle_by_area(
        diameter[~clear], area[~clear]
    )
    return everything if dust else clear


def middle_by_area(values: np.ndarray, area: np.ndarray) -> float:
    """Value below which half of the area is."""
    order = np.argsort(values)
    share = np.cumsum(area[order])
    return float(values[order][np.searchsorted(share, 0.5 * share[-1])])


def _of_a_stain(particles: Particles, faint: np.ndarray, stain: np.ndarray) -> np.ndarray:
    """Whether most of the faint parts cut from one cluster with each piece are stain, (K,) of bool."""
    _, cluster = np.unique(particles["parent"], return_inverse=True)
    area = particles["area_px2"].astype(float)
    most = np.bincount(cluster, area * stain) > 0.5 * np.bincount(cluster, area * faint)
    return most[cluster] & (particles["parent"] > 0)


def fringe_like(particles: Particles, shape: tuple[int, int]) -> np.ndarray:
    """Whether each piece is a fringe, (K,) ndarray of bool: bright beside dark pieces or the other way round.

    Edges bend light to one side, so a field of dark pieces has bright fringes and a field of bright ones
    has shadows. They are as neutral as the light, lie along pieces of the field's own sign, and are weaker
    or bent.
    """
    p = particles
    lightness = p["lightness_step"].astype(float)
    main = np.sign((p["area_px2"] * lightness).sum())
    colour = np.hypot(p["green_red_step"].astype(float), p["blue_yellow_step"].astype(float))
    odd = (lightness * main < 0) & (colour < _NEUTRAL * np.abs(lightness))
    odd &= p["flags"] & bits("rim_only") == 0
    fringe = np.zeros(len(p), bool)
    own = np.flatnonzero((lightness * main > 0) & (np.abs(lightness) > colour * _NEUTRAL))
    if not odd.any() or not own.size:
        return fringe
    strength, solidity = contrast(p), p["area_px2"] / np.maximum(p["hull_area_px2"], 1e-6)
    index, away = _nearest(p, own, shape)
    for i in np.flatnonzero(odd):
        x, y = np.floor(p.outlines[i]).astype(int).T
        x, y = x.clip(0, shape[1] - 1), y.clip(0, shape[0] - 1)
        thickness = 2.0 * p["area_px2"][i] / max(float(p["perimeter_px"][i]), 1e-6)
        near = away[y, x] <= max(_REACH_PX[-1], thickness)
        if near.mean() < _ALONG:
            continue
        beside = np.bincount(index[y, x][near]).argmax()
        weaker = strength[i] < (_STRENGTH if solidity[i] > _RING else _AS_STRONG) * strength[beside]
        # a shadow is as thick as its piece is high, but what an edge bends is thin
        thick = lightness[i] > 0 and p["feret_min_px"][i] > _BENT_LIGHT * p["feret_min_px"][beside]
        fringe[i] = weaker and not (thick and solidity[i] > _RING)
    return fringe


def _nearest(
    particles: Particles, which: np.ndarray, shape: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """Index of the nearest of some pieces and the distance to it in px, both (M, N)."""
    labels = np.zeros(shape, np.int32)
    for i in which:
        points = np.round((particles.outlines[i] - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(labels, [points], int(i) + 1, shift=4)
    away, seeds = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(seeds.max()) + 1, np.int32)
    inside = labels > 0
    table[seeds[inside]] = labels[inside] - 1
    return table[seeds], away


def contrast(particles: Particles) -> np.ndarray:
    """CIELAB distance of each piece from the oil, (K,) ndarray."""
    steps = ("lightness_step", "green_red_step", "blue_yellow_step")
    return np.sqrt(sum(particles[name].astype(float) ** 2 for name in steps))


def contact(particles: Particles, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Share of each outline that runs beside one neighbour, and which, -1 for none.

    Parameters
    ----------
    particles : Particles
    shape : (M, N)

    Returns
    -------
    share : (K,) ndarray of float
    beside : (K,) ndarray of int
    """
    count = len(particles)
    labels = np.zeros(shape, np.int32)
    for i in np.argsort(-particles["area_px2"]):
        points = np.round((particles.outlines[i] - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(labels, [points], int(i) + 1, shift=4)
    share, beside = np.zeros(count), np.full(count, -1)
    if not count:
        return share, beside
    size = np.array([len(outline) for outline in particles.outlines])
    start = np.cumsum(size) - size
    points = np.concatenate(particles.outlines)
    own = np.repeat(np.arange(count), size)
    following, before = np.arange(1, len(points) + 1), np.arange(-1, len(points) - 1)
    following[start + size - 1], before[start] = start, start + size - 1
    step = points[following] - points[before]
    length = np.hypot(step[:, 0], step[:, 1])
    # outlines run either way round; looking both ways costs nothing, since inside is the piece itself
    away = np.column_stack([step[:, 1], -step[:, 0]]) / np.maximum(length, 1e-6)[:, None]
    seen = np.zeros(len(points), np.int32)
    for reach in (r * way for r in _REACH_PX for way in (1, -1)):
        x, y = np.floor(points + reach * away).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
        label = np.where(inside, labels[y.clip(0, shape[0] - 1), x.clip(0, shape[1] - 1)], 0)
        seen = np.where((seen == 0) & (label != own + 1), label, seen)
    for i in np.unique(own[seen > 0]).tolist():
        part = slice(start[i], start[i] + size[i])
        met = np.bincount(seen[part], length[part])
        met[0] = 0
        if met.any():
            beside[i] = int(met.argmax()) - 1
            share[i] = met.max() / length[part].sum()
    return share, beside
