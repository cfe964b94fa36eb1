"""Draw one look: place the pieces, let the light through, take the picture, write down the truth."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from shapely import STRtree, union_all
from shapely.geometry import Polygon

from . import optics, shapes
from .body import Piece, make_body
from .camera import lamp_field, shoot
from .crystal import crystal
from .looks import LIMIT_PX, LOOKS, UM_PER_PX, Look, stuff
from .place import Ground

HIDDEN_LIMIT = 0.40  # more than this under others: nobody could outline it
BLUR_LIMIT_PX = 6.0  # sd; beyond it, or beyond this share of the diameter, nobody could outline a piece
BLUR_SHARE = 0.15
SEEN_STEP = 0.05  # relative step of light a person sees against the ground
EYE = np.array([0.3, 0.5, 0.2], np.float32)  # weight of red, green, blue for the step a person sees
SEEN_SHARE = 0.75  # of the outline must show such a step


@dataclass(frozen=True)
class Truth:
    """One true piece. ``fair`` is empty for a piece that counts, else why nobody is asked about it."""

    outline: np.ndarray  # (P, 2) px, corner of the first pixel is 0, 0
    kind: str
    mark: str
    hidden: float
    blur_px: float
    seen: float
    fair: str

    @property
    def diameter_px(self) -> float:
        """Area-equivalent diameter."""
        return float(np.sqrt(4.0 * Polygon(self.outline).area / np.pi))


@dataclass(frozen=True)
class Drawn:
    """A picture and what is in it."""

    look: str
    seed: int
    pixels: np.ndarray
    truth: tuple[Truth, ...]
    um_per_px: float = UM_PER_PX
    limit_px: float = LIMIT_PX


def draw(
    name: str,
    seed: int,
    width: int = 1200,
    ground: tuple[float, float, float] | None = None,
    hues: dict[str, np.ndarray] | None = None,
) -> Drawn:
    """Draw a look.

    Parameters
    ----------
    name : str
        Key of `LOOKS`.
    seed : int
    width : int
        Px; the height is three quarters of it.
    ground : 3 floats, optional
        Linear light of the oil in place of the look's own.
    hues : dict of str to (3,) array, optional
        Absorption of red, green and blue by kind, mean 1, in place of the stuff's own at its strength.
    """
    look = LOOKS[name]
    if ground is not None:
        look = replace(look, camera=replace(look.camera, tint=ground))
    rng = np.random.default_rng([seed, *name.encode()])
    size = (width * 3 // 4, width)
    pieces = [_dyed(piece, hues or {}) for piece in _scatter(look, size, rng)]
    scene, seen = _expose(look, pieces, size, rng)
    return Drawn(name, seed, shoot(scene, look.camera, rng), _truth(look, pieces, seen, size))


def _dyed(piece: Piece, hues: dict[str, np.ndarray]) -> Piece:
    hue, own = hues.get(piece.stuff.kind), np.array(piece.stuff.absorb)
    if hue is None:
        return piece
    return replace(piece, stuff=replace(piece.stuff, absorb=tuple(float(own.mean()) * hue)))


def _outline(kind: str, name: str, d: float, rng) -> tuple[np.ndarray, object]:
    if name == "bubble":
        return shapes.disc(d), None
    if name == "fibre":
        return shapes.fibre(d * 12, rng.uniform(5, 11), rng), None
    if name == "salt":
        body = crystal(d, rng)
        return body.outline, body
    if kind == "skin":
        return (shapes.ribbon if rng.random() < 0.45 and d > 28 else shapes.flake)(d, rng), None
    return (shapes.rounded if rng.random() < 0.15 else shapes.kernel)(d, rng), None


def _wanted(look: Look, size, rng) -> list[tuple[str, float]]:
    """Name and diameter of each piece, largest first (they are the hardest to place)."""
    scale = (size[1] / 1200) ** 2
    count = max(6, int(look.pieces * scale))
    names = rng.choice(list(look.make), count, p=np.array(list(look.make.values())))
    low, high = 0.75 * LIMIT_PX, size[1] / 4
    d = look.median_px * np.exp(look.spread * rng.normal(size=count * 3))
    d = d[(d > low) & (d < high)][:count]
    room = np.searchsorted(np.cumsum(0.785 * d**2), look.cover * size[0] * size[1])
    d = d[: max(room, 6)]
    names = list(names[: len(d)]) + ["bubble"] * look.bubbles + ["fibre"] * look.fibres
    d = (
        list(d)
        + list(30 * np.exp(0.5 * rng.normal(size=look.bubbles)))
        + list(rng.uniform(18, 40, look.fibres))
    )
    return sorted(zip(names, d, strict=True), key=lambda item: (item[0] != "fibre", -item[1]))


def _scatter(look: Look, size, rng) -> list[Piece]:
    ground = Ground(size, size[1] // 4)
    pieces, roast = [], float(rng.random())
    for name, d in _wanted(look, size, rng):
        material = stuff(name, rng, roast)
        outline, body = _outline(material.kind, name, d, rng)
        how = rng.choice(["cross", "touch", "apart"], p=[look.cross, look.touch, 1 - look.cross - look.touch])
        inside = rng.random() > (0.3 if look.cut else 0.08)
        shift = ground.find(outline, str(how), inside, rng)
        if shift is None and how != "apart":
            shift = ground.find(outline, "apart", inside, rng)
        if shift is None:
            continue
        shift = shift + (rng.uniform(-0.5, 0.5, 2) if how == "apart" else 0.0)
        height = float(rng.normal(0, look.height_px))
        if rng.random() < look.far:
            height = float(rng.choice([-1, 1]) * rng.uniform(25, 60))
        # where the crystal's own origin lies after the shift
        pieces.append(
            Piece(outline + shift, material, height, int(rng.integers(2**31)), body, np.array(shift))
        )
    order = np.argsort([-abs(p.height_px) for p in pieces])
    return [pieces[i] for i in order]


def _expose(look: Look, pieces: list[Piece], size, rng) -> tuple[np.ndarray, list[float]]:
    """Linear light on the sensor, and for each piece the share of its outline that shows."""
    angle = rng.uniform(0, 2 * np.pi)
    look = replace(look, focus_px=look.focus_px * rng.choice([-1, 1]))
    lamp = (look.lamp * np.cos(angle), look.lamp * np.sin(angle))
    light = lamp_field(size, look.camera, rng)[..., None] * np.asarray(look.camera.tint, np.float32)
    through = look.light == "through"
    scene = np.ones((*size, 3), np.float32) if through else light.astype(np.float32)
    scene = _haze(scene, look, through, rng)
    seen = []
    for piece in pieces:
        body = make_body(piece, 8 + int(3.5 * optics.blur_px(piece.height_px, look.sharp_px)))
        patch, step = _lit(look, piece, body, lamp)
        seen.append(_seen(piece, body, step))
        _lay(scene, body, patch)
    return (scene * light if through else scene), seen


def _lit(look: Look, piece: Piece, body, lamp):
    """How a piece changes what lies below it (multiply, add), and the step a person sees."""
    if look.light == "through":
        clear = optics.transmission(
            piece, body, aperture=look.aperture, focus_px=look.focus_px, lamp=lamp, sharp_px=look.sharp_px
        )
        return (clear, None), np.abs(1.0 - clear @ EYE)
    if look.light == "dark":
        light = 0.7 * optics.scattering(piece, body, look.sharp_px)
        return (None, light), 2.0 * light @ EYE
    colour, cover = optics.reflection(piece, body, lamp, look.sharp_px)
    colour = 0.45 * colour
    return (1.0 - cover[..., None], colour), 2.0 * colour @ EYE


def _lay(scene: np.ndarray, body, patch) -> None:
    times, plus = patch
    h, w = (times if times is not None else plus).shape[:2]
    y0, x0 = max(body.y0, 0), max(body.x0, 0)
    y1, x1 = min(body.y0 + h, scene.shape[0]), min(body.x0 + w, scene.shape[1])
    if y1 <= y0 or x1 <= x0:
        return
    here = np.s_[y0 - body.y0 : y1 - body.y0, x0 - body.x0 : x1 - body.x0]
    if times is not None:
        scene[y0:y1, x0:x1] *= times[here]
    if plus is not None:
        scene[y0:y1, x0:x1] += plus[here]


def _seen(piece: Piece, body, step: np.ndarray) -> float:
    """Share of the outline within 3 px of a step of light that a person sees."""
    near = cv2.dilate(step.astype(np.float32), np.ones((7, 7), np.uint8))
    x = np.clip((piece.outline[:, 0] - body.x0).astype(int), 0, step.shape[1] - 1)
    y = np.clip((piece.outline[:, 1] - body.y0).astype(int), 0, step.shape[0] - 1)
    return float(np.mean(near[y, x] > SEEN_STEP))


def _haze(scene: np.ndarray, look: Look, through: bool, rng) -> np.ndarray:
    """Strew thousands of specks well below the size limit, at all heights."""
    m, n = scene.shape[:2]
    field = np.zeros((m, n), np.float32)
    for sd, many, strength in ((0.9, 2600, 0.45), (1.5, 1100, 0.75), (2.3, 260, 1.1), (4.5, 130, 1.6)):
        count = int(many * look.haze * m * n / 1.08e6)
        spots = np.zeros((m, n), np.float32)
        size = np.exp(rng.normal(0, 0.5, count)) * rng.choice([1.0, -0.35], count, p=[0.8, 0.2])
        np.add.at(spots, (rng.integers(0, m, count), rng.integers(0, n, count)), size)
        field += cv2.GaussianBlur(spots, (0, 0), sd) * strength
    if through:
        return scene * (10.0 ** -np.clip(0.45 * field, -0.06, 0.5))[..., None]
    return scene + 0.12 * np.clip(field, 0, 2)[..., None] * np.array([0.8, 0.7, 0.55], np.float32)


def _hidden(look: Look, pieces: list[Piece]) -> list[float]:
    """Share of each silhouette under denser pieces, or in light from above under those above it."""
    polygons = [Polygon(p.outline).buffer(0) for p in pieces]
    rank = [float(np.sum(p.stuff.absorb)) + (9.0 if p.stuff.mark == "bubble" else 0.0) for p in pieces]
    if look.light == "reflected":
        rank = list(range(len(pieces)))
    tree, shares = STRtree(polygons), []
    for i, shape in enumerate(polygons):
        above = [polygons[j] for j in tree.query(shape, "intersects") if rank[j] > rank[i]]
        shares.append(union_all(above).intersection(shape).area / shape.area if above else 0.0)
    return shares


def _truth(look: Look, pieces: list[Piece], seen: list[float], size) -> tuple[Truth, ...]:
    found = []
    for piece, share, hidden in zip(pieces, seen, _hidden(look, pieces), strict=True):
        blur = optics.blur_px(piece.height_px, look.sharp_px)
        truth = Truth(piece.outline, piece.stuff.kind, piece.stuff.mark, hidden, blur, share, "")
        if (piece.outline.max(axis=0) <= 0).any() or (piece.outline.min(axis=0) >= size[::-1]).any():
            continue
        found.append(replace(truth, fair=_why_not(truth, size)))
    return tuple(found)


def _why_not(truth: Truth, size) -> str:
    low, high = truth.outline.min(axis=0), truth.outline.max(axis=0)
    if (low <= 1).any() or (high >= np.array(size[::-1]) - 1).any():
        return "cut by the frame"
    if truth.hidden > HIDDEN_LIMIT:
        return "hidden"
    if truth.blur_px > min(BLUR_LIMIT_PX, BLUR_SHARE * truth.diameter_px):
        return "out of focus"
    if truth.seen < SEEN_SHARE:
        return "not to be seen"
    if truth.diameter_px < 1.25 * LIMIT_PX:
        return "near the limit"
    return ""
