"""Put real pieces on a real ground and write down what lies where."""

from dataclasses import replace

import cv2
import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from tests.benchmarks.other_hand.body import CLEAR
from tests.benchmarks.other_hand.draw import Drawn, Truth
from tests.benchmarks.other_hand.looks import LIMIT_PX

from .ground import ground
from .looks import LOOKS, Look
from .place import Table
from .sources import Cut, cuts, filled, to_srgb

ENLARGE = 1.6  # at most, so that a piece does not look washed out
HIDDEN_LIMIT = 0.5  # more than this under others is not asked
SEEN_STEP = 7.0  # CIELAB between a piece's rim and what lies beside it
SEEN_SHARE = 0.75  # of the outline must show such a step
PAD_PX = 14
HIDES = 0.75  # share of the density below from which what lies there counts as hidden
BUBBLES = ("bubbles",)  # whether these count is a matter of the kind, not of the outline: not asked


def compose(name: str, seed: int, width: int = 1200) -> Drawn:
    """Compose one picture.

    Parameters
    ----------
    name : str
        Key of `LOOKS`.
    seed : int
        Odd and even cut-outs are kept apart: seeds from 1000 on use the odd ones, the others the even ones.
    width : int
        Px; the height is three quarters of it.
    """
    look = LOOKS[name]
    rng = np.random.default_rng([seed, *name.encode()])
    size = (width * 3 // 4, width)
    scene = ground(str(rng.choice(look.grounds)), size, rng)
    empty = scene.copy()
    if look.grey:
        scene = empty = np.repeat(scene.mean(axis=2, keepdims=True), 3, axis=2)
        scene = scene.copy()
    table, truth, hiding = Table(size), [], []
    for cut in _chosen(look, seed >= 1000, rng):
        piece = _turned(cut, look, rng)
        shares = [look.heap, look.cross, look.touch]
        how = str(rng.choice(["heap", "cross", "touch", "apart"], p=[*shares, 1 - sum(shares)]))
        shift = table.lay(Polygon(piece.outline).buffer(0), how, rng)
        if shift is None:
            continue
        blur_px = float(rng.uniform(*look.blur_px))
        hides = float(rng.choice(look.hides)) if look.hides else None
        _paste(scene, piece, shift, blur_px, look, empty if hides is not None else None, hides or 0.0)
        hiding.append(not look.clear or (hides or 0.0) >= HIDES)
        nature = "a bubble" if cut.source in BUBBLES else ""
        truth.append(Truth(piece.outline + shift, CLEAR, "", 0.0, blur_px, 1.0, nature))
    truth = _judged(truth, hiding, scene, empty)
    return Drawn(name, seed, _photographed(scene, look, rng), truth)


def _chosen(look: Look, odd: bool, rng) -> list[Cut]:
    """Draw the cut-outs of a picture, the largest sizes being laid first by `compose`."""
    names = look.sources if look.mixed else (str(rng.choice(look.sources)),)
    halves = [cuts(n)[int(odd) :: 2] for n in names]
    return [
        half[rng.integers(len(half))]
        for half in (halves[i] for i in rng.integers(len(halves), size=look.pieces))
    ]


def _turned(cut: Cut, look: Look, rng) -> Cut:
    """Scale, turn, mirror and tint a cut-out; its outline is then centred on 0, 0 of the frame."""
    low, high = look.size_px
    wanted = low * (high / low) ** rng.random()
    scale = min(wanted / cut.diameter_px, ENLARGE)
    angle, mirror = rng.uniform(0, 2 * np.pi), rng.choice([-1.0, 1.0])
    turn = (
        scale
        * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        @ np.diag([mirror, 1])
    )
    middle = cut.outline.mean(axis=0)
    outline = (cut.outline - middle) @ turn.T
    gain = np.exp(rng.normal(0, look.tint) + rng.normal(0, 0.0 if look.grey else look.tint / 2, 3))
    picture = cut.clear if look.clear else cut.colour * gain.astype(np.float32)
    if look.hides:
        picture = cut.dense * np.float32(look.stain * np.exp(rng.normal(0, 2 * look.tint)))
    elif look.clear:  # more or less of the same stain
        picture = picture ** (look.stain * np.exp(rng.normal(0, 2 * look.tint)))
    if look.grey:
        picture = np.repeat(picture.mean(axis=2, keepdims=True), 3, axis=2)
    reach = int(np.ceil(np.abs(outline).max())) + PAD_PX
    if scale < 0.9:
        picture = cv2.GaussianBlur(picture, (0, 0), 0.45 / scale)
    # pixel centres: x_frame + 0.5 = turn (x_cut + 0.5 - middle) + reach
    offset = reach - 0.5 + turn @ (0.5 - middle)
    matrix = np.column_stack([turn, offset])
    side = 2 * reach
    picture = cv2.warpAffine(np.ascontiguousarray(picture, np.float32), matrix, (side, side),
                             flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return replace(
        cut,
        colour=picture,
        clear=picture,
        dense=picture,
        outline=outline,
        diameter_px=cut.diameter_px * scale,
    )


def _paste(
    scene: np.ndarray,
    piece: Cut,
    shift: np.ndarray,
    blur_px: float,
    look: Look,
    empty: np.ndarray | None = None,
    hides: float = 0.0,
) -> None:
    """Lay the piece with its edge softened as the optics would; with its own on an ``empty`` ground given."""
    side = len(piece.colour)
    whole = np.floor(shift).astype(int)
    part = shift - whole
    x0, y0 = whole - side // 2
    matrix = np.array([[1, 0, part[0]], [0, 1, part[1]]], float)
    picture = cv2.warpAffine(piece.colour, matrix, (side, side), borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.GaussianBlur(filled(piece.outline + part + side // 2, (side, side), 8), (0, 0), blur_px)[
        ..., None
    ]
    if blur_px > 2.0 and empty is None:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    a = np.maximum([y0, x0], 0)
    b = np.minimum([y0 + side, x0 + side], scene.shape[:2])
    here = np.s_[a[0] : b[0], a[1] : b[1]]
    own = np.s_[a[0] - y0 : b[0] - y0, a[1] - x0 : b[1] - x0]
    cover, picture = cover[own], picture[own]
    if empty is not None:
        below = np.log(np.maximum(scene[here], 1e-4) / np.maximum(empty[here], 1e-4))
        scene[here] = empty[here] * np.exp(below * (1 - hides * cover) - picture)
        return
    scene[here] = (
        scene[here] * (1 + cover * (picture - 1))
        if look.clear
        else scene[here] * (1 - cover) + cover * picture
    )


def _judged(
    truth: list[Truth], hiding: list[bool], scene: np.ndarray, empty: np.ndarray
) -> tuple[Truth, ...]:
    """Say how much of each piece is hidden, how much of its outline shows, and whether it is asked."""
    shapes = [Polygon(t.outline).buffer(0) for t in truth]
    step = [_lab(to_srgb(a)) for a in (scene, empty)]
    step = np.linalg.norm(cv2.GaussianBlur(step[0] - step[1], (0, 0), 1.0), axis=2)
    result = []
    for i, (piece, shape) in enumerate(zip(truth, shapes, strict=True)):
        after = zip(shapes[i + 1 :], hiding[i + 1 :], strict=True)
        over = [s for s, hides in after if hides and s.intersects(shape)]
        hidden = 0.0 if not over else union_all(over).intersection(shape).area / shape.area
        seen = _seen(shape, step, 1.0 + piece.blur_px)
        why = piece.fair
        if hidden > HIDDEN_LIMIT:
            why = "hidden"
        elif seen < SEEN_SHARE:
            why = "not to be seen"
        elif piece.diameter_px < 1.25 * LIMIT_PX:
            why = "near the limit"
        result.append(replace(piece, hidden=hidden, seen=seen, fair=why))
    return tuple(result)


def _lab(srgb: np.ndarray) -> np.ndarray:
    return cv2.cvtColor(srgb, cv2.COLOR_RGB2LAB)


def _seen(shape: Polygon, step: np.ndarray, inwards_px: float) -> float:
    """Share of a line a little inside the outline where the picture differs from the empty ground."""
    inner = shape.buffer(-inwards_px)
    line = (inner if inner.geom_type == "Polygon" and not inner.is_empty else shape).exterior
    points = [line.interpolate(t, normalized=True).coords[0] for t in np.linspace(0, 1, 64, endpoint=False)]
    x, y = np.clip(np.array(points).astype(int).T, 0, np.array(step.shape[::-1])[:, None] - 1)
    return float(np.mean(step[y, x] > SEEN_STEP))


def _photographed(scene: np.ndarray, look: Look, rng) -> np.ndarray:
    """Uneven light, sensor noise and JPEG; (M, N, 3) uint8."""
    m, n = scene.shape[:2]
    if look.shade:
        y, x = np.mgrid[0:m, 0:n].astype(np.float32)
        cx, cy = rng.uniform(0.1, 0.9, 2)
        far = ((x / n - cx) ** 2 + (y / n - cy * m / n) ** 2)[..., None]
        scene = scene * (1 - look.shade * far / far.max())
    noise = rng.normal(0, 1, (m, n, 3)).astype(np.float32)
    if look.grey:
        noise = noise[..., :1]
    pixels = np.clip(np.round(255 * to_srgb(scene) + look.noise * noise), 0, 255).astype(np.uint8)
    if look.jpeg:
        _, coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.jpeg])
        pixels = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    return np.repeat(pixels[..., :1], 3, axis=2) if look.grey else pixels
