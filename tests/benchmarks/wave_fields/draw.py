"""Draw one field: lay the bodies, image the film, take the picture, write down the truth."""

from dataclasses import replace

import cv2
import numpy as np
from scipy import fft
from shapely import STRtree, union_all
from shapely.geometry import Polygon

from tests.benchmarks.other_hand.draw import EYE, SEEN_SHARE, Drawn, Truth
from tests.benchmarks.other_hand.place import Ground

from .imaging import FINE, Slice, expose
from .looks import LIMIT_PX, LOOKS, Camera, Look
from .solids import Body, make

MARGIN_PX = 44  # drawn about the frame, so that the period of the transform shows nothing
HIDDEN_LIMIT = 0.35  # of a projection crossed by others
BLUR_SHARE = 0.12  # of the diameter
BLUR_LIMIT_PX = 6.0
SEEN_STEP, SEEN_NOISE = 0.05, 3.0  # relative light; in units of the noise of a pixel
SAMPLED_PX = 0.25  # the first of two fine samples lies so far before the middle of its pixel


def draw(name: str, seed: int, width: int = 1100) -> Drawn:
    """Draw a look, three quarters as high as wide; outlines in px, the corner of the first pixel is 0, 0."""
    look = LOOKS[name]
    rng = np.random.default_rng([seed, *name.encode()])
    size = (width * 3 // 4, width)
    laid = _laid(look, size, rng)
    levels = [Slice(*level) for level in _levels(look, laid, size)]
    light = expose(levels, look.optics, rng)[MARGIN_PX:, MARGIN_PX:][: size[0], : size[1]]
    if look.dark:
        light = light / np.percentile(light, 99.5) + 0.02
    pixels = _taken(light, look.camera, rng)
    truth = _truth(look, laid, light, size)
    return Drawn(name, seed, pixels, truth, look.optics.px_um, LIMIT_PX)


def _wanted(look: Look, size: tuple[int, int], rng: np.random.Generator) -> list[tuple[str, float]]:
    """Name and size in px, largest first: they are the hardest to place."""
    names = rng.choice(list(look.mix), 900, p=np.array(list(look.mix.values())))
    d = look.median_px * np.exp(look.spread * rng.normal(size=900))
    d = np.clip(d, 0.8 * LIMIT_PX, size[1] / 5)
    room = int(np.searchsorted(np.cumsum(0.785 * d**2), look.cover * size[0] * size[1]))
    chosen = [(str(n), float(v)) for n, v in zip(names[:room], d[:room], strict=True)]
    chosen += [("bubble", float(v)) for v in 45 * np.exp(0.5 * rng.normal(size=look.bubbles))]
    chosen += [("fibre", float(v)) for v in rng.uniform(18, 34, look.fibres)]
    return sorted(chosen, key=lambda item: (item[0] != "fibre", -item[1]))


def _laid(look: Look, size: tuple[int, int], rng: np.random.Generator) -> list[tuple[Body, np.ndarray, int]]:
    """Bodies with the shift of their maps in px of the camera, and the level they lie at."""
    ground, fine_um = Ground(size, size[1] // 4), look.optics.px_um / FINE
    roast, laid = float(rng.uniform(*look.roast)), []
    for name, d in _wanted(look, size, rng):
        body = make(name, d * look.optics.px_um, fine_um, roast, rng)
        how = str(
            rng.choice(["cross", "touch", "apart"], p=[look.cross, look.touch, 1 - look.cross - look.touch])
        )
        shift = ground.find(body.outline / FINE, how, rng.random() > look.cut, rng)
        if shift is not None:
            laid.append((body, shift.astype(int), int(rng.integers(len(look.levels_um)))))
    return laid


def _levels(look: Look, laid: list, size: tuple[int, int]) -> list[tuple]:
    m, n = (fft.next_fast_len(s + 2 * MARGIN_PX) for s in size)
    levels = [
        (z, np.zeros((FINE * m, FINE * n), np.float32), np.zeros((FINE * m, FINE * n, 3), np.float32))
        for z in look.levels_um
    ]
    for body, shift, k in laid:
        low = FINE * (shift[::-1] + MARGIN_PX)
        high = low + body.path_um.shape
        a, b = np.maximum(low, 0), np.minimum(high, [FINE * m, FINE * n])
        if (a >= b).any():
            continue
        here, there = (
            np.s_[a[0] : b[0], a[1] : b[1]],
            np.s_[a[0] - low[0] : b[0] - low[0], a[1] - low[1] : b[1] - low[1]],
        )
        levels[k][1][here] += body.path_um[there]
        levels[k][2][here] += body.depth[there]
    return levels


def _lamp(size: tuple[int, int], camera: Camera, rng: np.random.Generator) -> np.ndarray:
    y, x = np.mgrid[: size[0], : size[1]].astype(np.float32)
    u, v = x / size[1] - 0.5, y / size[1] - 0.5 * size[0] / size[1]
    angle, (cx, cy) = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.08, 2)
    light = 1 + camera.gradient * (np.cos(angle) * u + np.sin(angle) * v)
    return light * (1 - camera.vignette * 2 * ((u - cx) ** 2 + (v - cy) ** 2))


def _taken(light: np.ndarray, camera: Camera, rng: np.random.Generator) -> np.ndarray:
    scene = light * _lamp(light.shape[:2], camera, rng)[..., None] * np.array(camera.tint, np.float32)
    if camera.grey:
        scene = np.repeat((scene @ EYE)[..., None], 3, axis=2)
    got = rng.poisson(np.clip(scene, 0, 1.3) * camera.electrons) + rng.normal(0, camera.read, scene.shape)
    if camera.grey:
        got = np.repeat(got[..., :1], 3, axis=2)
    values = np.clip(got / camera.electrons, 0, 1) ** (1 / camera.gamma)
    pixels = np.round(255 * values).astype(np.uint8)
    if camera.jpeg:
        data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg])[1]
        pixels = cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()
    return pixels


def _truth(look: Look, laid: list, light: np.ndarray, size: tuple[int, int]) -> tuple[Truth, ...]:
    outlines = [body.outline / FINE + shift + SAMPLED_PX for body, shift, _ in laid]
    shapes = [Polygon(o).buffer(0) for o in outlines]
    tree = STRtree(shapes)
    ground = np.median(light, axis=(0, 1))
    noise = 1 / np.sqrt(
        look.camera.electrons * float(np.mean(look.camera.tint)) * max(float(ground @ EYE), 1e-3)
    )
    step = cv2.dilate(np.abs(light / ground - 1) @ EYE, np.ones((7, 7), np.uint8))
    shown = step > max(SEEN_STEP, SEEN_NOISE * noise)
    found = []
    for i, (body, _, k) in enumerate(laid):
        others = [shapes[j] for j in tree.query(shapes[i], "intersects") if j != i]
        crossed = union_all(others).intersection(shapes[i]).area / shapes[i].area if others else 0.0
        x, y = (np.clip(outlines[i][:, a].astype(int), 0, size[1 - a] - 1) for a in (0, 1))
        blur = _blur_px(look, look.levels_um[k])
        truth = Truth(outlines[i], body.kind, body.mark, 0.0, blur, float(np.mean(shown[y, x])), "")
        if shapes[i].intersects(Polygon([(0, 0), (size[1], 0), (size[1], size[0]), (0, size[0])])):
            found.append(replace(truth, fair=_why_not(truth, crossed, size)))
    return tuple(found)


def _blur_px(look: Look, level_um: float) -> float:
    """Rough blur out of focus: the cone of the condenser's light and the width of fringes (Fresnel)."""
    away = abs(level_um - look.optics.focus_um)
    cone = 0.5 * away * look.optics.na * min(look.optics.condenser[1], 1.0)
    return float(np.hypot(cone, 0.35 * np.sqrt(0.54 / 1.47 * away)) / look.optics.px_um)


def _why_not(truth: Truth, crossed: float, size: tuple[int, int]) -> str:
    low, high = truth.outline.min(axis=0), truth.outline.max(axis=0)
    if (low <= 1).any() or (high >= np.array(size[::-1]) - 1).any():
        return "cut by the frame"
    if crossed > HIDDEN_LIMIT:
        return "hidden"
    if truth.blur_px > min(BLUR_LIMIT_PX, BLUR_SHARE * truth.diameter_px):
        return "out of focus"
    if truth.seen < SEEN_SHARE:
        return "not to be seen"
    return "near the limit" if truth.diameter_px < 1.25 * LIMIT_PX else ""
