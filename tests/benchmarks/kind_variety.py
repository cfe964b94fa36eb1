"""Fields whose pieces vary in all that does not make a kind, for fitting the kinds.

What holds for a kind is kept: the browning of a kernel takes away light steadily more towards blue, a skin's
tannins take away green nearly as much as blue, a crystal takes away none and bends it aside at its sides.
All else is drawn alike for kernels and skins or from wide ranges: slender or compact, thin or opaque, lit
from below, above or aside, on a grey, bluish or yellow ground, well or badly exposed, hazed, sharpened, in
heaps.
"""

import cv2
import numpy as np

from tests.benchmarks.kind_variety_looks import looks_of, oil_of

WIDTH_PX, HEIGHT_PX = 640, 500
FINE = 2  # drawn so much finer, then brought down
BANDS_NM = np.array([610.0, 540.0, 460.0])  # middles of a camera's red, green and blue
GAMMA = 2.2
TRIES = 40


def varied_field(
    seed: int, ground: str, own: dict | None = None
) -> tuple[np.ndarray, list[np.ndarray], list[str]]:
    """Draw a field, with looks of its own if given: 8-bit pixels, outlines in px and names of the groups."""
    rng = np.random.default_rng(seed)
    looks = looks_of(rng, ground) | (own or {})
    oil = oil_of(rng, ground)
    slope = _cloud(rng, (HEIGHT_PX, WIDTH_PX), 300.0) * rng.uniform(0.0, 0.06)
    light = np.ones((HEIGHT_PX, WIDTH_PX, 3)) * oil * (1.0 + slope)[..., None]
    names, outlines = _arranged(rng, looks)
    for name, outline in zip(names, outlines, strict=True):
        _lay(light, outline, name, looks, rng)
    return _seen(light, rng, looks), outlines, names


def is_lit_from_above(seed: int, ground: str) -> bool:
    """Whether the pieces of that field are lit from above."""
    return bool(looks_of(np.random.default_rng(seed), ground)["above"])


# outlines ---------------------------------------------------------------------------------------------


def _outline(name: str, size_px: float, looks: dict, rng: np.random.Generator) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    if name == "bubble":
        unit = np.c_[np.cos(t), np.sin(t)]
    elif name == "salt":
        power = rng.uniform(3.0, 14.0)  # a rectangle with more or less rounded corners
        r = (np.abs(np.cos(t)) ** power + np.abs(np.sin(t)) ** power) ** (-1 / power)
        unit = np.c_[r * np.cos(t), r * np.sin(t) * rng.uniform(0.6, 1.0)]
        skew = rng.uniform(-0.3, 0.3) * (rng.random() < 0.4)
        unit = unit @ np.array([[1.0, 0.0], [skew, 1.0]])
    else:
        rough = looks["rough"] * rng.uniform(0.6, 1.4) * (1.3 if name == "skin" else 1.0)
        wave = sum(rng.normal(0, 1.5 * rough / k) * np.cos(k * t + rng.uniform(0, 6.3)) for k in range(2, 14))
        r = 1.0 + wave
        for _ in range(rng.integers(0, 4)):  # broken along straight planes
            cos = np.cos(t - rng.uniform(0, 6.3))
            r = np.minimum(r, rng.uniform(0.6, 0.95) / np.maximum(cos, 1e-3))
        long = np.exp(rng.uniform(0.0, looks["slender"]) / 2)
        unit = np.clip(r, 0.3, 1.8)[:, None] * np.c_[np.cos(t) * long, np.sin(t) / long]
    turn = rng.uniform(0, 2 * np.pi)
    unit = unit @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    x, y = unit.T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    return (unit - unit.mean(axis=0)) * size_px / np.sqrt(4 * area / np.pi)


def _arranged(rng: np.random.Generator, looks: dict) -> tuple[list[str], list[np.ndarray]]:
    """Kinds and outlines of pieces lying free, or pushed against one another."""
    busy = np.zeros((HEIGHT_PX, WIDTH_PX), np.uint8)
    names, outlines = [], []
    bubbles = int(rng.integers(0, 6))
    count = int(np.clip(0.14 * WIDTH_PX * HEIGHT_PX / looks["size_px"] ** 2, 14, 70))
    for k in range(count):
        name = "bubble" if k < bubbles else ("kernel", "skin", "salt")[rng.choice(3, p=looks["shares"])]
        shape = _outline(name, max(11.0, looks["size_px"] * np.exp(rng.normal(0, 0.35))), looks, rng)
        placed = _placed(shape, busy, rng, outlines, looks["together"])
        if placed is not None:
            names.append(name)
            outlines.append(placed)
            cv2.fillPoly(busy, [np.round(placed).astype(np.int32)], 1)
    return names, outlines


def _placed(shape: np.ndarray, busy: np.ndarray, rng, before: list, together: float) -> np.ndarray | None:
    margin = np.abs(shape).max(axis=0) + 4
    size = np.array([WIDTH_PX, HEIGHT_PX])
    if (2 * margin > size - 4).any():
        return None
    for _ in range(TRIES):
        at = rng.uniform(margin, size - margin)
        if _meets(shape + at, busy, 4):
            continue
        if before and rng.random() < together:
            to = before[rng.integers(len(before))].mean(axis=0)
            step = (to - at) / max(np.hypot(*(to - at)), 1.0)
            way = 0
            while way < 60 and not _meets(shape + at + step * (way + 1), busy, 0):
                way += 1
            at = at + step * way
        if (at > margin).all() and (at < size - margin).all():
            return shape + at
    return None


def _meets(outline: np.ndarray, busy: np.ndarray, gap_px: int) -> bool:
    low = np.floor(outline.min(axis=0)).astype(int) - gap_px - 1
    high = np.ceil(outline.max(axis=0)).astype(int) + gap_px + 2
    mask = np.zeros(tuple((high - low)[::-1]), np.uint8)
    points = np.round(outline - low).astype(np.int32)
    cv2.fillPoly(mask, [points], 1)
    if gap_px:
        cv2.polylines(mask, [points], True, 1, 2 * gap_px)
    x0, y0 = np.maximum(low, 0)
    x1, y1 = np.minimum(high, [WIDTH_PX, HEIGHT_PX])
    part = mask[y0 - low[1] : y1 - low[1], x0 - low[0] : x1 - low[0]]
    return bool((busy[y0:y1, x0:x1] & part).any())


# looks of pieces --------------------------------------------------------------------------------------


def _cloud(rng: np.random.Generator, size: tuple[int, int], grain_px: float) -> np.ndarray:
    """Smooth noise of mean 0 and deviation 1."""
    coarse = rng.normal(size=(int(size[0] / grain_px) + 4, int(size[1] / grain_px) + 4))
    whole = cv2.resize(coarse, None, fx=grain_px, fy=grain_px, interpolation=cv2.INTER_CUBIC)
    y, x = (int(n) for n in rng.uniform(0, grain_px, 2))
    return whole[y : y + size[0], x : x + size[1]]


def _browned(looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Absorption of a kernel in red, green and blue: it grows steadily towards blue."""
    if "orange" in looks:
        return looks["orange"] * np.exp(rng.normal(0, 0.05, 3)) + rng.uniform(0.0, 0.05)
    rate = looks["browning"] * rng.uniform(0.85, 1.15)
    return np.exp(-rate * (BANDS_NM - BANDS_NM[1])) * np.exp(rng.normal(0, 0.03, 3))


def _tanned(looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Absorption of a skin: of green nearly as much as of blue, of red little."""
    if "pink" in looks:
        return looks["pink"] * np.exp(rng.normal(0, 0.04, 3))
    return np.array([looks["skin_red"], 1.0, looks["skin_blue"]]) * np.exp(rng.normal(0, 0.04, 3))


def _thrown_back(pigment: np.ndarray) -> np.ndarray:
    """Light thrown back by a thick layer of that absorption over its scattering (Kubelka, Munk)."""
    return 1.0 + pigment - np.sqrt(pigment**2 + 2.0 * pigment)


def _lay(light: np.ndarray, outline: np.ndarray, name: str, looks: dict, rng: np.random.Generator) -> None:
    """Draw one piece into linear light."""
    pad = 14
    x0, y0 = np.maximum(np.floor(outline.min(axis=0)).astype(int) - pad, 0)
    x1, y1 = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + pad, [WIDTH_PX, HEIGHT_PX])
    fine = np.zeros(((y1 - y0) * FINE, (x1 - x0) * FINE), np.uint8)
    cv2.fillPoly(fine, [np.round(((outline - [x0, y0]) * FINE - 0.5) * 16).astype(np.int32)], 1, shift=4)
    size = (int(x1 - x0), int(y1 - y0))
    cover = cv2.resize(fine.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    depth = cv2.distanceTransform(fine, cv2.DIST_L2, 5) / FINE
    depth = cv2.resize(depth.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    under = light[y0:y1, x0:x1]
    if looks["shadow"]:
        away = looks["shadow_px"] * np.array([np.cos(looks["lamp"]), np.sin(looks["lamp"])])
        move = np.array([[1.0, 0.0, away[0]], [0.0, 1.0, away[1]]])
        thrown = cv2.GaussianBlur(cv2.warpAffine(cover, move, size), (0, 0), looks["shadow_px"] / 2)
        if name in ("kernel", "skin"):
            under = under * (1.0 - looks["shadow"] * thrown)[..., None]
    around = under
    if looks.get("displaced"):  # where a piece lies there is less oil to colour the light
        under = np.maximum(under, 1e-6) ** (1.0 - looks["displaced"]) * under.max() ** looks["displaced"]
    make = {"kernel": _kernel, "skin": _skin, "salt": _salt, "bubble": _bubble}[name]
    inside = make(under, depth, looks, rng)
    light[y0:y1, x0:x1] = around + (inside - around) * cover[..., None]


def _kernel(under: np.ndarray, depth: np.ndarray, looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Return light within a lump: thicker towards its middle where seen through, shaded where lit."""
    share = depth / max(float(depth.max()), 1.0)
    dome = (1.0 - (1.0 - share) ** 2) ** looks["rise"]
    grain = _cloud(rng, depth.shape, rng.uniform(2.0, 7.0)) * looks["grain"]
    spectrum = _browned(looks, rng)
    thick = np.clip(1.0 - looks["lump"] * (1.0 - dome) + grain, 0.05, 3.0)
    dark = float(np.exp(rng.normal(0, 0.2))) * (3.0 if rng.random() < 0.06 else 1.0)
    through = under * np.exp(-thick[..., None] * spectrum * looks["kernel_strength"] * dark)
    own = _thrown_back(spectrum * looks["kernel_pigment"] * dark)
    lit = 0.9 * own * (_shade(depth, dome, grain, looks, rng) * (1.0 + grain))[..., None]
    if looks["aside"]:
        pigment = spectrum * looks["kernel_strength"] * looks["pale"] * dark
        lit = _turned(thick, pigment, looks["glow"], depth, looks)
        specks = looks["specks"] * _cloud(rng, depth.shape, looks["speck_px"])
        lit = lit * np.exp(specks - looks["specks"] ** 2 / 2)[..., None]
    lit = lit + looks["glint"] * np.clip(_facing(depth, dome, grain, looks) - 0.9, 0, 1)[..., None]
    mixed = through * (1 - looks["opaque"]) + lit * looks["opaque"]
    return mixed * (1.0 - looks["edge"] * np.exp(-(((depth - 1.0) / looks["edge_px"]) ** 2)))[..., None]


def _facing(depth: np.ndarray, dome: np.ndarray, grain: np.ndarray, looks: dict) -> np.ndarray:
    """How much each place faces the lamp, 0..1."""
    height = cv2.GaussianBlur(
        ((0.6 * dome + 0.3 * grain) * float(depth.max())).astype(np.float32), (0, 0), 1.2
    )
    gy, gx = np.gradient(height)
    toward = -gx * np.cos(looks["lamp"]) - gy * np.sin(looks["lamp"])
    return np.clip((0.8 - 0.55 * toward) / np.sqrt(1.0 + gx**2 + gy**2), 0.0, 1.2)


def _shade(depth, dome, grain, looks: dict, rng: np.random.Generator) -> np.ndarray:
    flat = 1.0 - 0.4 * rng.uniform(0, 1) * (1.0 - dome)
    relief = looks["relief"]
    return flat * (1 - relief) + relief * _facing(depth, dome, grain, looks)


def _skin(under: np.ndarray, depth: np.ndarray, looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Return light within a sheet: even but for streaks, clouds and a curled margin."""
    turn = np.degrees(rng.uniform(0, 2 * np.pi))
    side = int(1.5 * max(depth.shape)) + 8
    lines = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), sigmaX=rng.uniform(0.8, 2.0), sigmaY=8.0)
    rotate = cv2.getRotationMatrix2D((side / 2, side / 2), turn, 1.0)
    lines = lines / max(lines.std(), 1e-9)
    lines = cv2.warpAffine(lines, rotate, (side, side), borderMode=cv2.BORDER_REFLECT)
    top = (side - depth.shape[0]) // 2, (side - depth.shape[1]) // 2
    lines = lines[top[0] : top[0] + depth.shape[0], top[1] : top[1] + depth.shape[1]]
    cloud = _cloud(rng, depth.shape, rng.uniform(4.0, 12.0)) * looks["grain"]
    curled = looks["curled"] * 2.0 * np.exp(-(((depth - 2.0) / 2.0) ** 2))
    thick = np.clip(1.0 + looks["streaks"] * lines + cloud + curled, 0.2, 4.0)
    spectrum = _tanned(looks, rng)
    strength = float(np.exp(rng.normal(0, 0.2)))
    through = under * np.exp(-thick[..., None] * spectrum * looks["skin_strength"] * strength)
    own = _thrown_back(spectrum * looks["skin_pigment"] * strength)
    lit = 0.9 * own * np.clip(1.0 + 0.5 * (looks["streaks"] * lines + cloud), 0.3, 1.6)[..., None]
    if looks["aside"]:
        glow = looks["glow"] * looks["sheet"]
        lit = _turned(thick, spectrum * looks["skin_strength"] * strength, glow, depth, looks)
    share = max(looks["opaque"] - 0.1 * rng.random(), 0.0)
    return through * (1 - share) + lit * share


def _turned(
    thick: np.ndarray, pigment: np.ndarray, glow: float, depth: np.ndarray, looks: dict
) -> np.ndarray:
    """Light turned towards the lens within a piece lit aside from below: it comes through the piece.

    So its colour is that of light let through, deeper the thicker the piece, unlike that of a surface. A
    lump turns more of it than a thin sheet, and the margin of either most of all.
    """
    edge = 1.0 + looks["bright_edge"] * np.exp(-(((depth - 1.0) / looks["edge_px"]) ** 2))
    return (glow * edge * np.clip(thick, 0.0, 1.2) ** 0.5)[..., None] * np.exp(-thick[..., None] * pigment)


def _salt(under: np.ndarray, depth: np.ndarray, looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Return light within a crystal: clear, its sides dark from below and bright from above."""
    wide = looks["rim_px"] * rng.uniform(0.8, 1.2)
    rim = np.exp(-(((depth - 0.8 * wide) / wide) ** 2))
    edges = np.zeros(depth.shape, np.float32)
    if rng.random() < 0.4:
        middle = np.array(depth.shape[::-1]) / 2 + rng.normal(0, 0.08, 2) * depth.shape[0]
        for turn in rng.uniform(0, 2.1) + np.arange(3) * 2.1:
            end = middle + 400 * np.array([np.cos(turn), np.sin(turn)])
            ends = [tuple(int(v) for v in p) for p in (middle, end)]
            cv2.line(edges, ends[0], ends[1], 1.0, 2, cv2.LINE_AA)
    edges = cv2.GaussianBlur(edges, (0, 0), 0.8) * looks["facets"]
    if looks["aside"]:
        edges = edges + looks["inside"] * looks["rim"] * _turning(depth, rng)
    inner = looks["inner"] * np.exp(-(((depth - 2.6 * wide) / wide) ** 2))
    if looks["above"]:
        if looks["aside"]:  # a side shines the more the nearer it faces the lamp
            gy, gx = np.gradient(cv2.GaussianBlur(depth, (0, 0), 1.5))
            rim = rim * (1.0 + looks["side"] * np.cos(np.arctan2(gy, gx) - looks["lamp"]))
        within = rng.uniform(0.0, 0.05) if not looks["aside"] else np.exp(rng.uniform(-8.0, -3.2))
        glow = 0.35 * (rim * looks["rim"] + 0.5 * edges + 0.3 * inner) + within
        if looks["aside"]:  # inclusions and facets turn light of all colours alike
            glow = glow + looks["cloudy"] * rng.uniform(0.2, 1.0) * _facet(depth.shape, rng)
        return under + glow[..., None]
    clear = (1.0 - looks["rim"] * rim) * (1.0 - edges) * looks["clear"] + inner
    gy, gx = np.mgrid[-1 : 1 : depth.shape[0] * 1j, -1 : 1 : depth.shape[1] * 1j]
    band = np.exp(-(((depth / max(depth.max(), 1.0) - 0.35) / 0.2) ** 2))
    clear = clear * (1 + looks["inner"] * (gx * np.cos(looks["lamp"]) + gy * np.sin(looks["lamp"])) * band)
    return under * clear[..., None]


def _turning(depth: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Edges on the far side of a crystal and chips of it, which turn light as its sides do."""
    rows, cols = depth.shape
    lines = np.zeros(depth.shape, np.float32)
    for _ in range(rng.poisson(2.0)):
        ends = rng.uniform(0.1, 0.9, (2, 2)) * (cols, rows)
        cv2.line(
            lines, *(tuple(int(v) for v in end) for end in ends), float(rng.uniform(0.3, 1.0)), 1, cv2.LINE_AA
        )
    for _ in range(rng.poisson(1.0)):
        at = tuple(int(v) for v in rng.uniform(0.2, 0.8, 2) * (cols, rows))
        cv2.circle(lines, at, int(rng.integers(1, 3)), float(rng.uniform(0.3, 1.0)), -1, cv2.LINE_AA)
    return cv2.GaussianBlur(lines, (0, 0), 0.7)


def _facet(shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Share of light of a crystal's two faces beside an edge that runs across it, or of one alone."""
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    turn = rng.uniform(0, 2 * np.pi)
    first = x * np.cos(turn) + y * np.sin(turn) > rng.uniform(-1.5, 0.7)
    grain = 1.0 + 0.1 * _cloud(rng, (shape[0], shape[1]), 3.0)
    return np.where(first, 1.0, rng.uniform(0.0, 1.0)) * np.clip(grain, 0.5, 1.5)


def _bubble(under: np.ndarray, depth: np.ndarray, looks: dict, rng: np.random.Generator) -> np.ndarray:
    """Return light within an air bubble: a black ring that widens outward, a bright middle."""
    out = 1.0 - depth / max(float(depth.max()), 1.0)
    ring = looks["ring"] * rng.uniform(0.8, 1.2)
    dark = 1.0 / (1.0 + np.exp(-(out - 1.0 + ring) / 0.05))
    if looks["above"]:
        return under + (0.3 * np.exp(-(((out - 0.85) / 0.08) ** 2)))[..., None]
    return under * (1.0 - 0.9 * dark + 0.2 * np.exp(-((out / 0.3) ** 2)))[..., None]


# camera -----------------------------------------------------------------------------------------------


def _seen(light: np.ndarray, rng: np.random.Generator, looks: dict) -> np.ndarray:
    """Return the picture a camera makes of it: haze, blur, exposure, noise, sharpening, compression."""
    if rng.random() < 0.2:
        share = rng.uniform(0.1, 0.6)
        veil = float(np.median(light)) * (1.0 + 0.1 * _cloud(rng, light.shape[:2], 200.0))
        light = light * (1 - share) + share * veil[..., None] * np.array([1.0, 0.97, 0.88])
    if rng.random() < 0.2:  # a lens that does not bring the colours together
        for band in (0, 2):
            move = np.array([[1.0, 0.0, rng.normal(0, 0.5)], [0.0, 1.0, rng.normal(0, 0.5)]])
            light[..., band] = cv2.warpAffine(
                np.ascontiguousarray(light[..., band]),
                move,
                (WIDTH_PX, HEIGHT_PX),
                borderMode=cv2.BORDER_REPLICATE,
            )
    blur = rng.uniform(0.6, 1.3) if rng.random() < 0.8 else rng.uniform(1.3, 3.5)
    light = cv2.GaussianBlur(light, (0, 0), blur)
    top = float(np.percentile(light, 99.0))
    exposure = 1.0
    if np.median(light) > 0.05:
        exposure = float(np.exp(rng.choice([rng.uniform(np.log(0.06), 0.0), rng.uniform(-0.4, 0.35)])))
        exposure = min(exposure, 1.25 / max(top, 1e-6))
    light = np.clip(light * exposure, 0.0, 1.0)
    well = float(np.exp(rng.uniform(np.log(800), np.log(15000))))
    light = light + rng.normal(0, 1, light.shape) * np.sqrt(light / well + (2.0 / well) ** 2)
    seen = np.clip(light, 0.0, 1.0) ** (1 / GAMMA)
    if rng.random() < 0.3:
        seen = seen + rng.uniform(0.4, 2.2) * (seen - cv2.GaussianBlur(seen, (0, 0), rng.uniform(1.0, 2.0)))
    pixels = np.clip(seen * 255.0, 0, 255).round().astype(np.uint8)
    if rng.random() < 0.5:
        quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(25, 96))]
        pixels = cv2.imdecode(cv2.imencode(".jpg", pixels[..., ::-1], quality)[1], 1)[..., ::-1]
    return np.ascontiguousarray(pixels)
