"""A whole picture of a smear with its truth."""

import zlib
from dataclasses import dataclass, replace

import cv2
import numpy as np

from .body import Body, padded
from .camera import Camera, compressed, photograph
from .crystals import crystal
from .foreign import MAKERS, dust
from .held import HELD
from .imaging import images, lit_area, shadow
from .kernel import kernel
from .light import ground, shine
from .look import Look
from .looks import LOOKS
from .noise import Rng, largest
from .place import Placed, Table, fines, window
from .skin import cocoa, skin
from .words import burnt_in

LIMIT_PX = 10.0  # the program's lower limit
_LEAST_SEEN = 0.04  # of the range, after the square root a camera takes; 10 grey levels
_LEAST_OVER = 0.11  # for what lies mostly on others, whose texture it must be told from
_MOST_BLUR = 0.2  # of the diameter


@dataclass
class Piece:
    """A true piece; ``mask`` is what is seen of it, in a window of the frame from ``row``, ``col``."""

    kind: str
    name: str
    row: int
    col: int
    mask: np.ndarray
    area_px2: int  # of the whole piece
    blur_px: float
    change: float  # how much it changes the picture along its outline
    cut: bool  # by the frame
    over: float = 0.0  # share that lies on other pieces
    asked: bool = False

    def window(self) -> tuple[slice, slice]:
        """Its window in the frame."""
        return slice(self.row, self.row + self.mask.shape[0]), slice(self.col, self.col + self.mask.shape[1])


@dataclass
class Drawn:
    """A picture with its pieces, the dust nobody is asked about, and what is no piece."""

    pixels: np.ndarray
    pieces: list[Piece]
    fines: np.ndarray
    foreign: np.ndarray


def draw(name: str, seed: int, look: Look | None = None) -> Drawn:
    """Draw a look; the same bytes for the same seed."""
    look = look or (LOOKS | HELD)[name]
    rng = np.random.default_rng([zlib.crc32(name.encode()), seed])
    shape = (look.size[1], look.size[0])
    lamp = shine(shape, look.lamp, rng)
    light, dry, lines = ground(shape, look.lamp, look.optics, rng)
    table = Table(shape, look.layout, dry, rng)
    for body in sorted(_bodies(look, shape, rng), key=lambda body: -body.diameter_px):
        table.put(body)
    dusted = fines(table, look.fines, LIMIT_PX, rng)
    light = _with_fines(light, dusted, look)
    things = [table.placed[k] for k in rng.permutation(len(table.placed))]
    things = _with_foreign(things, look, shape, dry, rng)
    pieces, foreign = _composed(light, things, look, lamp, rng)
    light = (light + look.lamp.veil) / (1 + look.lamp.veil) * lamp
    left, spots = dust(shape, look.dust, rng)
    pixels = photograph(light * left[..., None], _this_time(look.camera, rng), rng)
    pixels, words = burnt_in(pixels, look.words, rng)
    _judge(pieces, words)
    return Drawn(
        compressed(pixels, look.camera), pieces, dusted.max(axis=-1) > 0.12, foreign | spots | lines | words
    )


def _this_time(camera: Camera, rng: Rng) -> Camera:
    """Exposure and white balance differ from picture to picture."""
    cast = np.asarray(camera.cast) * np.exp(0.05 * rng.standard_normal(3))
    level = camera.level * float(np.exp(0.08 * rng.standard_normal()))
    return replace(camera, cast=(float(cast[0]), float(cast[1]), float(cast[2])), level=level)


def _bodies(look: Look, shape: tuple[int, int], rng: Rng) -> list[Body]:
    """The pieces of a look, log-normal in size."""
    names, shares = zip(*look.mix, strict=True)
    made: list[Body] = []
    room = look.cover * shape[0] * shape[1]
    for _ in range(look.count):
        if room < 0:
            break
        kind = str(rng.choice(names, p=np.array(shares) / sum(shares)))
        most = min(shape) / 3
        d_px = float(np.clip(look.median_px * 10 ** (look.decades * rng.standard_normal()), LIMIT_PX, most))
        if kind == "cocoa":
            made.append(cocoa(float(rng.uniform(10, 30)), rng))
        elif kind == "kernel":
            made.append(kernel(d_px, look.um_per_px, look.kernels[rng.integers(len(look.kernels))], rng))
        elif kind == "skin":
            made.append(skin(d_px, look.um_per_px, look.skin, rng))
        else:
            made.append(crystal(d_px, look.um_per_px, look.sugar if kind == "sugar" else look.salt, rng))
        room -= np.count_nonzero(made[-1].mask)
    return [body for body in made if np.count_nonzero(body.mask) > 30]


def _with_fines(light: np.ndarray, dusted: np.ndarray, look: Look) -> np.ndarray:
    soft = cv2.GaussianBlur(dusted, (0, 0), 0.4 + 0.5 * look.optics.heights_px)
    crumb, bit = look.kernels[0], look.skin
    for k, (density, tint) in enumerate(((crumb.density, crumb.colour), (bit.density, bit.colour))):
        crumbs, colour = soft[..., k, None], np.asarray(tint, np.float32)
        if look.optics.mode == "through":
            light = light * np.exp(-0.9 * crumbs * np.asarray(density, np.float32))
        elif look.optics.mode == "above":
            light = light * (1 - 0.55 * crumbs) + 0.55 * crumbs * colour
        else:
            light = light + 0.25 * crumbs * colour
    return light


def _with_foreign(
    things: list[Placed], look: Look, shape: tuple[int, int], dry: np.ndarray, rng: Rng
) -> list[Placed]:
    """Bubbles, droplets and fibres among the pieces, over some and under others."""
    for name, count, low, high in look.foreign:
        for _ in range(count):
            body = MAKERS[name](float(np.exp(rng.uniform(np.log(low), np.log(high)))), look.um_per_px, rng)
            row, col = (int(v) for v in rng.uniform(0, 1, 2) * shape)
            if not dry[row, col]:
                half = body.mask.shape[0] // 2
                things.insert(int(rng.integers(len(things) + 1)), Placed(body, row - half, col - half))
    return things


def _blur(look: Look, row: float, col: float, tilt: np.ndarray, rng: Rng) -> float:
    """Blur of a piece by its height, the slide's tilt and the field's curvature, px; signed."""
    u, v = 2 * col / look.size[0] - 1, 2 * row / look.size[1] - 1
    own = look.optics.heights_px * rng.standard_normal()
    return float(
        own + look.optics.tilt_px * (u * tilt[0] + v * tilt[1]) + look.optics.curved_px * (u * u + v * v) / 2
    )


def _composed(
    light: np.ndarray, things: list[Placed], look: Look, lamp: np.ndarray, rng: Rng
) -> tuple[list[Piece], np.ndarray]:
    """Lay all things into the light, lowest first; what opaque ones hide is taken from those below."""
    shape = light.shape[:2]
    foreign = np.zeros(shape, bool)
    taken = np.zeros(shape, np.uint8)
    pieces: list[Piece] = []
    way = rng.uniform(0, 2 * np.pi)
    tilt = np.array([np.cos(way), np.sin(way)])
    soft_px = float(np.hypot(look.camera.sharp_px, 0.5 / min(1.0, look.camera.scale)))
    for thing in things:
        half = thing.body.mask.shape[0] / 2
        blur = _blur(look, thing.row + half, thing.col + half, tilt, rng)
        pad = int(np.ceil(abs(blur))) + 4
        body = padded(thing.body, pad)
        if look.optics.mode == "crossed":
            body.mask = lit_area(body)
        frame, stamp = window(thing.row - pad, thing.col - pad, body.mask.shape, shape)
        passed, added = images(body, look.optics, blur)
        here = light[frame]
        if look.optics.mode == "above" and here.size:
            here = here * shadow(body, look.optics)[stamp][..., None]
        after = here * passed[stamp] + added[stamp]
        change = _change(
            light[frame], after, lamp[frame] * look.camera.level, body.mask[stamp], blur, soft_px
        )
        light[frame] = after
        _hidden(pieces, body, frame, stamp, look)
        if body.kind == "foreign":
            foreign[frame] |= body.mask[stamp]
        elif body.mask[stamp].any():
            pieces.append(_piece(body, frame, stamp, blur, change))
            taken[frame] += body.mask[stamp]
    for piece in pieces:
        piece.over = float((taken[piece.window()][piece.mask] > 1).mean()) if piece.mask.any() else 1.0
    return pieces, foreign


def _change(
    before: np.ndarray, after: np.ndarray, level: np.ndarray, mask: np.ndarray, blur: float, soft_px: float
) -> float:
    """How much the picture changes along the outline, of the range after the square root a camera takes."""
    if not mask.any():
        return 0.0
    low, high = (
        cv2.GaussianBlur(np.sqrt(np.clip(light * level, 0, 1)), (0, 0), soft_px) for light in (before, after)
    )
    steps = high - low
    seen = np.maximum(
        np.abs(steps @ np.array([0.3, 0.59, 0.11], np.float32)), 0.6 * np.abs(steps).max(axis=-1)
    )
    ones = np.ones((2 * int(2 + abs(blur)) + 1,) * 2, np.uint8)
    change = cv2.dilate(seen, ones)  # a line along the outline is enough
    rim = mask & ~cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    return float(np.percentile(change[rim], 35))


def _piece(
    body: Body, frame: tuple[slice, slice], stamp: tuple[slice, slice], blur: float, change: float
) -> Piece:
    mask = body.mask[stamp]
    whole = int(np.count_nonzero(body.mask))
    sides = (mask[0], mask[-1], mask[:, 0], mask[:, -1])
    cut = bool(np.count_nonzero(mask) < whole or any(side.any() for side in sides))
    return Piece(body.kind, body.name, frame[0].start, frame[1].start, mask.copy(), whole, blur, change, cut)


def _hidden(
    pieces: list[Piece], body: Body, frame: tuple[slice, slice], stamp: tuple[slice, slice], look: Look
) -> None:
    """Take from the pieces below what this one hides."""
    hides = body.cover > 0.8 if look.optics.mode == "above" else np.exp(-body.density).mean(axis=-1) < 0.16
    hides = (hides & body.mask)[stamp]
    if not hides.any():
        return
    for piece in pieces:
        r0, r1 = max(piece.row, frame[0].start), min(piece.row + piece.mask.shape[0], frame[0].stop)
        c0, c1 = max(piece.col, frame[1].start), min(piece.col + piece.mask.shape[1], frame[1].stop)
        if r0 < r1 and c0 < c1:
            piece.mask[r0 - piece.row : r1 - piece.row, c0 - piece.col : c1 - piece.col] &= ~hides[
                r0 - frame[0].start : r1 - frame[0].start, c0 - frame[1].start : c1 - frame[1].start
            ]


def _judge(pieces: list[Piece], words: np.ndarray) -> None:
    """Say which pieces are seen enough to be asked for."""
    for piece in pieces:
        piece.mask &= ~words[piece.window()]
        if piece.mask.any():
            piece.mask = largest(piece.mask)
        area = np.count_nonzero(piece.mask)
        d_px = np.sqrt(4 * area / np.pi)
        seen = piece.change > (_LEAST_OVER if piece.over > 0.5 else _LEAST_SEEN)
        sharp = abs(piece.blur_px) < _MOST_BLUR * d_px
        piece.asked = bool(not piece.cut and area >= 0.5 * piece.area_px2 and sharp and seen)
