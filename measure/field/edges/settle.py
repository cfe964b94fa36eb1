"""Outlines of bodies settled where their mean profile says the edge is.

Half way to the plateau is the edge of a flat sheet. A piece that is brighter or darker in its middle than
beside its edge, or carries a line along it, has no plateau: half of what is seen deeper inside lies off the
edge. So the picture is averaged along the whole outline, in the values in which it was blurred, and a
blurred step whose inside may rise or fall is fitted to the mean: where that step stands is the edge. The
outline is then moved there, all round alike, but for the places where it runs along another piece. Of a small
piece out of focus the other side is in the profile as well, so it is fitted as a disc; and a small crystal,
whose rim has run together, as a disc with a ring: half of what is seen of a blurred line lies off its edge.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.found import Found
from measure.field.basics.quick import turned
from measure.field.basics.shape import resampled
from measure.field.edges.edge_level import mixed_values
from measure.field.edges.step_models import LARGEST, OUT, RIM, SMALLEST, fitted, places
from measure.field.ground.light import Light
from measure.flags import bits

_NORMALS = 64  # an outline
_STEP_PX = 0.5
_OUT_PX, _IN_PX = 10.0, 13.0  # of a profile
_SIDE_PX = 1.5  # another piece nearer than this lies against the outline
_ROUNDS = 2  # the fit is done on the length its own sigma gives
_SIGMA_PX = (0.6, 3.5)  # looked for; with a wider one the profile ends too early
_FARTHEST, _FARTHEST_RING = 0.4, 1.0  # sigma an outline is moved at most; half of a line lies 1.2 beyond it
_FARTHEST_BEYOND = 0.5  # outwards, of what is dark
_OUTWARDS = 0.1  # sigma, from which a disc seems to reach farther out
_FARTHEST_DISC = 0.2  # blur moves the half height of a disc by less than half of that; more is unevenness
_NARROW = np.array([4.0, 8.0])  # half width over sigma: the other side is in the profile; it is not
# of discs, whose other side is known: blur alone makes their form; it does not
_NARROW_DISC = np.array([1.6, 2.2])
# squared length of an outline over that of a disc as large, up to which a piece is seen as one, and share of
# the normals that meet nothing, from which it is
_COMPACT, _ALL_ROUND = 1.3, 0.8
# width of a rim that is a mere line, over sigma, and height of the middle of a ring
_LINE_SIGMA, _HOLLOW = 2.0, 0.8
_BEHIND = 1.5  # sigma behind an edge, from which blur leaves less than a fifteenth of it
# share of the step that profiles rise from there on in a sigma, usually: pieces bend light; they only absorb
_RISE = (0.022, 0.042)
_TELLING = 5  # dark pieces that tell it
_FREE = 10  # normals that meet nothing else, from which a mean is told
_BLOCK = 400  # outlines sampled at a time
_FEW_BODIES = 40  # whose blur stands for that of all
_ALONG = np.arange(-_OUT_PX, _IN_PX + 0.01, _STEP_PX)


class _Sampled(NamedTuple):
    """What is seen across outlines, at ``_NORMALS`` places along each."""

    points: np.ndarray  # (K, N, 2)
    inward: np.ndarray  # (K, N, 2) unit normals
    values: np.ndarray  # (K, N, S, 3) from outside inwards, light or stored values
    free_px: np.ndarray  # (K, N) how far out nothing else lies


class _Fit(NamedTuple):
    """What the mean profiles of K pieces say."""

    shift_px: np.ndarray  # (K,) how far inwards the edge stands
    sigma_px: np.ndarray  # (K,) of its blur
    weight: np.ndarray  # (K,) how far both are believed
    dark: np.ndarray  # (K,) of bool, darker than the oil
    rise: np.ndarray  # (K,) of the profile right behind the edge, share of the step; NaN of small pieces


def settled(found: Found, light: Light, absorbing: bool = True) -> Found:
    """Move the outlines of bodies to where the step of their mean profile is.

    See-through pieces, which show a rim, stay as they are. Pieces under or over others do as well, but where
    dark ones reach farther out than they seem they go with those that lie alone.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    absorbing : bool
        False where it is known that pieces show slopes or bent light, not how much they absorb.

    Returns
    -------
    Found
        The same pieces.
    """
    rows = np.flatnonzero((found.flags & bits("rim_only")) == 0)
    crossed = (found.flags[rows] & bits("overlap")) > 0
    if crossed.all():
        return found
    covered = _covered(found.outlines, light.delta.shape[:2])
    fits, sides = [], []
    for block in np.split(rows, range(_BLOCK, len(rows), _BLOCK)):
        sampled = _sampled([found.outlines[i] for i in block], light, covered)
        fits.append(_shifts(sampled, discs=True))
        sides += list(zip(sampled.inward, sampled.free_px > _SIDE_PX, strict=True))
    fit = _Fit(*(np.concatenate(part) for part in zip(*fits, strict=True)))
    shift = _believed_px(fit, crossed, absorbing)
    outlines = list(found.outlines)
    for i, shift_px, (inward, free) in zip(rows, shift, sides, strict=True):
        if shift_px != 0.0:
            outlines[i] = _moved(outlines[i], shift_px, inward, free)
    return Found(outlines, found.parent, found.flags, found.origin)


def _believed_px(fit: _Fit, crossed: np.ndarray, absorbing: bool) -> np.ndarray:
    """How far inwards each outline is moved, px, (K,); ``crossed`` are pieces under or over others."""
    share, beyond_px = _beyond(_Fit(*(part[~crossed] for part in fit))) if absorbing else (0.0, 0.0)
    shift = fit.weight * np.where(fit.dark & (fit.shift_px < 0), share, 1.0) * fit.shift_px
    # of a small piece blur hides how it goes on: it does as the larger ones do
    small = np.isnan(fit.rise)
    thinner = fit.dark & small & (fit.shift_px < -_OUTWARDS * fit.sigma_px)
    shift[thinner] = np.minimum(shift[thinner], -beyond_px)
    shift -= np.where(fit.dark & ~small, (1.0 - fit.weight) * beyond_px, 0.0)
    shift[crossed] = np.where(fit.dark[crossed], -beyond_px, 0.0)
    return shift


def _beyond(fit: _Fit) -> tuple[float, float]:
    """Whether dark pieces reach farther out than they seem, 0 to 1, and how far they mostly do, px.

    Thinner towards their edge, what only absorbs goes on darkening right behind it. A line of bent light
    makes up for that there, and cannot be told from the edge itself.
    """
    full = fit.dark & (fit.weight >= 1.0) & np.isfinite(fit.rise)
    if full.sum() < _TELLING:
        return 0.0, 0.0
    low, high = _RISE
    share = float(np.clip((np.median(fit.rise[full]) - low) / (high - low), 0.0, 1.0))
    return share, share * max(-float(np.median(fit.shift_px[full])), 0.0)


def blur_of_bodies(found: Found, light: Light) -> np.ndarray:
    """Blur of some bodies that lie alone, sigma in px, (B,); those too slender to tell are left out."""
    rows = np.flatnonzero((found.flags & bits("rim_only", "overlap", "touching")) == 0)
    rows = rows[:: max(1, len(rows) // _FEW_BODIES)]
    if not len(rows):
        return np.zeros(0)
    outlines = [found.outlines[i] for i in rows]
    covered = _covered(_near(found.outlines, outlines), light.delta.shape[:2])
    fit = _shifts(_sampled(outlines, light, covered), discs=False)
    return fit.sigma_px[fit.weight > 0]


def _near(outlines: list[np.ndarray], some: list[np.ndarray]) -> list[np.ndarray]:
    """Those outlines that normals of some of them may meet."""
    low, high = (np.array([end(outline, axis=0) for outline in outlines]) for end in (np.min, np.max))
    near = np.zeros(len(outlines), bool)
    for outline in some:
        first, last = outline.min(axis=0) - (_OUT_PX + 2.0), outline.max(axis=0) + (_OUT_PX + 2.0)
        near |= ((low <= last) & (high >= first)).all(axis=1)
    return [outlines[k] for k in np.flatnonzero(near)]


def _covered(outlines: list[np.ndarray], shape: tuple[int, int]) -> np.ndarray:
    """Pixels of any piece, (M, N) uint8."""
    covered = np.zeros(shape, np.uint8)
    for outline in outlines:
        points = np.round((outline - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(covered, [points], 1, shift=4)
    return covered


def _sampled(outlines: list[np.ndarray], light: Light, covered: np.ndarray) -> _Sampled:
    points = resampled(outlines, _NORMALS)
    ahead = np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1)
    following = np.roll(points, -1, axis=1)
    turning = (points[..., 0] * following[..., 1] - points[..., 1] * following[..., 0]).sum(axis=1)
    inward = np.stack([-ahead[..., 1], ahead[..., 0]], axis=-1)
    inward /= np.maximum(np.hypot(inward[..., 0], inward[..., 1]), 1e-9)[..., None]
    inward *= np.where(turning < 0, -1.0, 1.0)[:, None, None]
    places = inward[:, :, None] * _ALONG[:, None]
    places += points[:, :, None]
    where = places.astype(np.float32)
    values = _values(light, where, points.mean(axis=1))
    return _Sampled(points, inward, values, _free_px(where, covered))


def _values(light: Light, where: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """What the camera mixed at places in the picture, (K, N, S, 3): XYZ light, or what it stored of it."""
    count = where.shape[0]
    rows = where.reshape(count, -1, 2) - np.float32(0.5)
    lab = cv2.remap(
        light.delta, rows[..., 0], rows[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    grid, shape = light.background_lab, light.delta.shape
    row = np.clip((middle[:, 1] / shape[0] * grid.shape[0]).astype(int), 0, grid.shape[0] - 1)
    column = np.clip((middle[:, 0] / shape[1] * grid.shape[1]).astype(int), 0, grid.shape[1] - 1)
    lab += grid[row, column][:, None].astype(np.float32)
    return mixed_values(lab, light.light_weight).reshape(*where.shape[:3], 3)


def _free_px(where: np.ndarray, covered: np.ndarray) -> np.ndarray:
    """How far outwards each normal meets neither a piece nor the border of the picture, px, (K, N)."""
    outer = where[:, :, _ALONG <= -_SIDE_PX][:, :, ::-1]
    column, row = np.floor(outer[..., 0]).astype(int), np.floor(outer[..., 1]).astype(int)
    rows, columns = covered.shape
    beyond = (row < 0) | (column < 0) | (row >= rows) | (column >= columns)
    taken = covered[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)] > 0
    met = beyond | taken
    first = np.where(met.any(axis=2), met.argmax(axis=2), met.shape[2])
    return _SIDE_PX + (first - 1) * _STEP_PX


def _shifts(sampled: _Sampled, discs: bool) -> _Fit:
    """Where the edge of each piece lies.

    ``discs``: small full pieces are seen as discs, else as if their other side were far.
    """
    area_px2, length_px = _sizes(sampled.points)
    half = 2.0 * area_px2 / length_px
    compact = (length_px**2 < _COMPACT * 4.0 * np.pi * area_px2) & discs
    count = len(half)
    sigma = np.full(count, 1.5)
    shift, step = np.zeros((2, count))
    told, disc, ring = np.zeros((3, count), bool)
    for turn in range(_ROUNDS + 1):
        free = sampled.free_px >= np.minimum(OUT * sigma + 0.5, _OUT_PX - 1.0)[:, None]
        told = free.sum(axis=1) >= _FREE
        profile, step = _projected(sampled.values, free, sigma, np.where(compact, half, np.inf))
        told &= np.isfinite(profile).all(axis=1)
        profile[~told] = 0.0
        if turn == 0:
            sigma = _steepest_sigma(profile)
            continue
        disc = (
            compact & (free.mean(axis=1) > _ALL_ROUND) & (half < LARGEST * sigma) & (half > SMALLEST * sigma)
        )
        ring = disc & (RIM * half < _LINE_SIGMA * sigma) & (_middle(profile, half) < _HOLLOW)
        line = _along(profile, places() * sigma[:, None])
        shift, ratio = fitted(line, np.where(disc, half / sigma, np.inf), ring)
        shift, sigma = shift * sigma, np.clip(sigma * ratio, *_SIGMA_PX)
    # blur moves the step of a curved edge inwards by sigma^2 / 2R; the mean of 1 / R along a closed line
    # is 2 pi over its length
    shift -= np.where(disc, 0.0, sigma**2 * np.pi / length_px)
    most = np.where(ring, _FARTHEST_RING, np.where(disc, _FARTHEST_DISC, _FARTHEST)) * sigma
    shift = np.clip(shift, -np.where(step < 0, np.maximum(_FARTHEST_BEYOND * sigma, most), most), most)
    least, whole = np.where(disc[:, None], _NARROW_DISC, _NARROW).T
    weight = np.clip((half / sigma - least) / (whole - least), 0.0, 1.0)
    # a wider rim is no mere line by its own blur, whatever was taken for it first
    weight[ring] *= np.clip(2.0 * (_LINE_SIGMA - RIM * half / sigma), 0.0, 1.0)[ring]
    told &= sigma < _SIGMA_PX[1]
    rise = np.where(disc, np.nan, _rise(profile, sigma))
    return _Fit(shift, sigma, np.where(told, weight, 0.0), step < 0, rise)


def _rise(profile: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """How much higher profiles are from the third sigma behind the edge on than in the second, (K,)."""
    at = np.linspace(0.0, 1.0, 5)
    near, far = (_along(profile, (sigma[:, None] * (_BEHIND + k + at))) for k in (0, 1))
    return far.mean(axis=1) - near.mean(axis=1)


def _along(profile: np.ndarray, places_px: np.ndarray) -> np.ndarray:
    """Values of profiles at some depths."""
    at = (places_px + _OUT_PX) / _STEP_PX
    low = np.clip(at.astype(int), 0, profile.shape[1] - 2)
    part = np.clip(at - low, 0.0, 1.0)
    below, above = (np.take_along_axis(profile, low + k, 1) for k in (0, 1))
    values: np.ndarray = below * (1 - part) + above * part
    return values


def _middle(profile: np.ndarray, half: np.ndarray) -> np.ndarray:
    """Height of each profile in the middle of its piece, or as deep as it goes."""
    near = np.abs(_ALONG - np.minimum(half, _IN_PX - 0.5)[:, None]) <= 0.75
    return (profile * near).sum(axis=1) / near.sum(axis=1)


def _sizes(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Areas, px^2, and lengths, px, of outlines of equally many points, (K, N, 2)."""
    following = np.roll(points, -1, axis=1)
    side = following - points
    cross = points[..., 0] * following[..., 1] - points[..., 1] * following[..., 0]
    length = np.hypot(side[..., 0], side[..., 1]).sum(axis=1)
    return np.abs(cross.sum(axis=1)) / 2.0, np.maximum(length, 1e-9)


def _projected(
    values: np.ndarray, free: np.ndarray, sigma: np.ndarray, half: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean profile of each piece over its free normals, 0 in the oil, about 1 inside, (K, S); its step.

    Where ``half``, px, tells that the other side is near, 1 is the highest place.
    """
    weight = free / np.maximum(free.sum(axis=1), 1)[:, None]
    mean = np.einsum("kn,knsc->ksc", weight, values)
    outer = (-2.0 * sigma[:, None] > _ALONG) & (-4.5 * sigma[:, None] - 1.0 < _ALONG)
    inner = (1.5 * sigma[:, None] < _ALONG) & (3.0 * sigma[:, None] + 1.0 > _ALONG)
    oil, body = (np.einsum("ks,ksc->kc", m / m.sum(axis=1)[:, None], mean) for m in (outer, inner))
    # of a small piece the middle need not be what it is: a ring it may be, or less than the blur
    small = half < _IN_PX - 1.0
    seen = np.abs(mean - oil[:, None]).sum(axis=2)
    seen[(_ALONG < 0.0) | (half[:, None] < _ALONG)] = 0.0
    crest = np.clip(seen.argmax(axis=1), 1, seen.shape[1] - 2)
    top = np.mean([mean[np.arange(len(mean)), crest + k] for k in (-1, 0, 1)], axis=0)
    step = np.where(small[:, None], top, body) - oil
    square = np.maximum(np.einsum("kc,kc->k", step, step), 1e-12)
    return np.einsum("ksc,kc->ks", mean - oil[:, None], step) / square[:, None], step.sum(axis=1)


def _steepest_sigma(profile: np.ndarray) -> np.ndarray:
    """Blur that a step of this slope has, px."""
    near = np.abs(_ALONG) <= 3.0
    steepest = np.gradient(profile, _STEP_PX, axis=1)[:, near].max(axis=1)
    return np.clip(0.3989 / np.maximum(steepest, 1e-3), *_SIGMA_PX)


def _moved(outline: np.ndarray, shift_px: float, inward: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The outline moved inwards where it is free, easing off towards places where it is not."""
    side = np.hypot(*np.diff(outline, axis=0, append=outline[:1]).T)
    along = (np.cumsum(side) - side) / side.sum() * len(free)
    share = free.astype(float)
    share = np.minimum(share, 0.5 * (turned(share, 1) + turned(share, -1)))
    along %= len(free)
    low = along.astype(int)
    moves = share[:, None] * inward
    here, following = moves[low], moves[(low + 1) % len(free)]
    move = (following - here) * (along - low)[:, None] + here
    return (outline + shift_px * move).astype(np.float32)
