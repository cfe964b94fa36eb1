"""Where a picture was blurred: in linear light, as lens and sensor do, or in its stored values.

A straight sharp side blurred evenly gives a profile that is antisymmetric about its half level in the
values in which it was blurred, and only there. Pieces that taper, or carry a line along their edge, are
asymmetric in both; then neither is preferred. So sharp-sided pieces are looked for: asymmetry nil in one
kind of values, and the same for all pieces but for noise.
"""

import cv2
import numpy as np

from measure.field.basics.quick import median

_REACH_PX, _STEP_PX = 16.0, 0.5  # of a profile
_NORMALS = 48  # a piece
_PIECES = 60  # looked at, at most
_FEWEST = 5  # pieces that can tell anything
_LEVELS = (0.06, 0.2)  # asymmetry is read between these shares of the step and their complements
_SHARP = np.array([0.01, 0.003])  # asymmetry of a drawn sharp side in its own values: pixels, rounding
_NATURAL = np.array([0.1, 0.03])  # asymmetry of natural edges: taper, refracting line
_ALIKE = 0.008  # spread of asymmetry over pieces that are all sharp
_COLOUR_PRIOR = 0.95  # colour pictures come from cameras, which mix light
_GREY_PRIOR = 0.5


def decoded(stored: np.ndarray) -> np.ndarray:
    """Linear light of stored values, both 0..1 (IEC 61966-2-1)."""
    return np.where(stored <= 0.04045, stored / 12.92, ((np.maximum(stored, 0.0) + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    """Stored values of linear light, both 0..1 (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0.0) ** (1.0 / 2.4) - 0.055)


def light_weight(pixels: np.ndarray, distance: np.ndarray, level: float = 7.0) -> float:
    """How surely a picture was blurred in linear light.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        Stored values.
    distance : (M, N) ndarray of float32
        Distance from the oil in units of its noise.
    level : float
        Distance above which pixels belong to pieces.

    Returns
    -------
    weight : float
        1 for linear light, 0 for stored values. Where edges do not tell, 0.5 for grey and what is usual for
        colour.
    """
    some = pixels[::16, ::16]
    grey = bool((some[..., :1] == some).all())
    prior = _GREY_PRIOR if grey else _COLOUR_PRIOR
    lines = _normals((distance > level).view(np.uint8))
    if lines is None:
        return prior
    # green is sampled most densely by cameras and kept sharpest by compression
    stored, light = _mean_profiles(pixels[..., 1], *lines)
    size = np.repeat(lines[2], 3)
    light_edges, stored_edges = (_edges(profile, size) for profile in (light, stored))
    if light_edges is None or stored_edges is None:
        return prior
    by_light, by_stored = _evidence(light_edges, stored_edges)
    return float(prior * by_light / (prior * by_light + (1.0 - prior) * by_stored))


def _normals(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Sampling places along inward normals of free edges.

    Returns
    -------
    places : (L, S, 2) ndarray, owner : (L,) ndarray of int, size_px : (K,) ndarray
        None when there are too few pieces.
    """
    contours = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    contours = [c.reshape(-1, 2).astype(np.float32) for c in contours if len(c) >= _NORMALS]
    contours = contours[:: -(-len(contours) // _PIECES)] if contours else []
    along = np.arange(-_REACH_PX, _REACH_PX + 0.01, _STEP_PX, dtype=np.float32)
    limit = np.array(mask.shape[::-1]) - 2
    places: list[np.ndarray] = []
    owner: list[np.ndarray] = []
    sizes: list[float] = []
    for contour in contours:
        points = contour[:: max(1, len(contour) // _NORMALS)]
        tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
        # contours run anticlockwise on the screen: inside lies to the left
        normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
        normal /= np.maximum(np.hypot(normal[:, 0], normal[:, 1]), 1e-6)[:, None]
        place = points[:, None] + normal[:, None] * along[None, :, None]
        ends = place[:, (0, -1)]
        place = place[((ends > 0) & (ends < limit)).all(axis=(1, 2))]
        outer = place[:, : len(along) // 2 - 6].astype(np.int32)
        place = place[~mask[outer[..., 1], outer[..., 0]].any(axis=1)]
        if len(place) >= _NORMALS // 4:
            owner.append(np.full(len(place), len(sizes)))
            places.append(place)
            sizes.append(np.sqrt(4.0 / np.pi * cv2.contourArea(contour)))
    if len(sizes) < _FEWEST:
        return None
    return np.concatenate(places), np.concatenate(owner), np.array(sizes)


def _sampled(values: np.ndarray, places: np.ndarray) -> list[np.ndarray]:
    """Stored values and light at places between pixels, each mixed in its own kind."""
    top = np.iinfo(values.dtype).max
    corner = np.floor(places).astype(np.int32)
    part = places - corner
    x, y = corner[..., 0], corner[..., 1]
    across, down = part[..., 0], part[..., 1]
    weight = (1 - across) * (1 - down), across * (1 - down), (1 - across) * down, across * down
    four = [values[y + j, x + i] for j, i in ((0, 0), (0, 1), (1, 0), (1, 1))]
    stored = np.arange(top + 1) / top
    read = []
    for table in (stored.astype(np.float32), decoded(stored).astype(np.float32)):
        total = table[four[0]] * weight[0]
        for value, share in zip(four[1:], weight[1:], strict=True):
            total += table[value] * share
        read.append(total)
    return read


def _mean_profiles(
    values: np.ndarray, places: np.ndarray, owner: np.ndarray, size_px: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean profiles over all, the even and the odd normals of each piece, lined up at the half step.

    Returns
    -------
    stored, light : (3 K, S) ndarray
    """
    both = _sampled(values, places)
    stored = both[0]
    middle = stored.shape[1] // 2
    oil = np.median(stored[:, :10], axis=1)
    reach = np.clip((0.4 * size_px / _STEP_PX).astype(int), 2, middle - 1)
    inner = np.array([median(stored[owner == k, middle : middle + n].ravel()) for k, n in enumerate(reach)])
    ground = np.array([median(oil[owner == k]) for k in range(len(size_px))])
    step = (inner - ground)[owner]
    share = (stored - oil[:, None]) / np.where(step == 0, 1.0, step)[:, None]
    crossed = share[:, middle - 8 : middle + 10] >= 0.5
    first = np.argmax(crossed, axis=1) + middle - 8
    rows = np.arange(len(stored))
    low, high = share[rows, first - 1], share[rows, first]
    found = crossed.any(axis=1) & (first > middle - 8) & (low < 0.5)
    start = first - 1 + (0.5 - low) / np.where(high > low, high - low, 1.0) - 20
    whole = np.floor(start).astype(int)
    fraction = (start - whole)[:, None].astype(np.float32)
    columns = np.clip(whole[:, None] + np.arange(42), 0, stored.shape[1] - 1)
    turn = rows % 2
    sets = np.concatenate([owner * 3, owner * 3 + 1 + turn])
    keep = np.tile(found, 2)
    out = []
    for b in both:
        cut = np.take_along_axis(b, columns, axis=1)
        cut = cut[:, :-1] * (1 - fraction) + cut[:, 1:] * fraction
        total = np.zeros((3 * len(size_px), cut.shape[1]))
        np.add.at(total, sets[keep], np.tile(cut, (2, 1))[keep])
        count = np.bincount(sets[keep], minlength=len(total))
        out.append(np.where(count[:, None] >= 5, total / np.maximum(count, 1)[:, None], np.nan))
    return out[0], out[1]


def _asymmetry(profile: np.ndarray, size_px: np.ndarray) -> np.ndarray:
    """Asymmetry of each profile at each of the levels, in widths of the edge, (N, 2); nan where unclear."""
    along = (np.arange(profile.shape[1]) - 20) * _STEP_PX
    sigma = np.full(len(profile), 2.0)
    for _ in range(3):
        far = -along[None, :] / sigma[:, None]
        oil = _mean_where(profile, (far > 3.0) & (far < 7.0 + 1.0 / sigma[:, None]))
        inner = _mean_where(profile, (far < -2.4) & (far > -3.6))
        step = np.where(inner == oil, np.nan, inner - oil)  # no step, no edge
        share = (profile - oil[:, None]) / step[:, None]
        width = _crossing(share, along, 0.8413) - _crossing(share, along, 0.1587)
        clear = (3.0 * sigma < 0.45 * size_px) & (width > 0)
        sigma = np.clip(np.where(clear, width / 2.0, sigma), 0.5, 2.7)
    middle = 2.0 * _crossing(share, along, 0.5)
    ends = [_crossing(share, along, v) + _crossing(share, along, 1.0 - v) for v in _LEVELS]
    return np.where(clear, (np.stack(ends) - middle) / width, np.nan).T


def _mean_where(values: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    return np.where(chosen, values, 0.0).sum(axis=1) / np.maximum(chosen.sum(axis=1), 1)


def _crossing(share: np.ndarray, along: np.ndarray, level: float) -> np.ndarray:
    """Where each profile crosses a level, walking away from its half; nan where it does not."""
    rows, count = np.arange(len(share)), share.shape[1]
    half = np.argmax(share >= 0.5, axis=1)[:, None]
    column = np.arange(count)[None, :]
    if level <= 0.5:
        below = (column <= half) & (share < level)
        after = count - np.argmax(below[:, ::-1], axis=1)
        found = below.any(axis=1) & (after < count)
    else:
        above = (column >= half) & (share >= level)
        after = np.argmax(above, axis=1)
        found = above.any(axis=1) & (after > 0)
    after = np.where(found, after, 1)
    low, high = share[rows, after - 1], share[rows, after]
    part = (level - low) / np.where(high == low, 1.0, high - low)
    return np.where(found, along[after - 1] + part * _STEP_PX, np.nan)


def _edges(profile: np.ndarray, size_px: np.ndarray) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Typical asymmetry (2,), its standard error (2,), and how alike the pieces are, 0..1."""
    asymmetry = _asymmetry(profile, size_px).reshape(-1, 3, 2)
    asymmetry = asymmetry[np.isfinite(asymmetry).all(axis=(1, 2))]
    if len(asymmetry) < _FEWEST:
        return None
    typical = np.median(asymmetry[:, 0], axis=0)
    spread = 1.4826 * np.median(np.abs(asymmetry[:, 0] - typical), axis=0)
    noise = 1.4826 * np.median(np.abs(asymmetry[:, 1] - asymmetry[:, 2]), axis=0) / 2.0
    doubt = 1.25 * np.maximum(spread, noise) / np.sqrt(len(asymmetry))
    beyond = max(0.0, float(spread[1] ** 2 - noise[1] ** 2))
    return typical, doubt, float(np.exp(-beyond / _ALIKE**2))


def _evidence(*edges: tuple[np.ndarray, np.ndarray, float]) -> list[float]:
    """Likelihood for each kind of values that edges are antisymmetric in them."""
    # clearly asymmetric edges decide nothing: one density for all
    typical = np.mean([edge[0] for edge in edges], axis=0)
    wide = np.hypot(np.mean([edge[1] for edge in edges], axis=0), _NATURAL)
    natural = np.prod(0.8 / (1.0 + (typical / wide) ** 2) / wide)
    found = []
    for typical, doubt, alike in edges:
        deviation = np.hypot(doubt, _SHARP)
        sharp = np.prod(np.exp(-0.5 * (typical / deviation) ** 2) / deviation)
        found.append(float(sharp * alike + natural * (1.0 - 0.95 * alike)))
    return found
