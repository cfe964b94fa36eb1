"""Drawn rulings with known scale: analytic anti-aliased lines, sharing no code with the tool.

Each pixel's place in the object is worked out backwards through lens distortion; a line's darkness there is
the product of two error functions (a bar blurred by a Gaussian), so nothing is resampled.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.special import erf


@dataclass(frozen=True)
class Drawing:
    """One drawn condition."""

    name: str = "plain"
    width: int = 1280
    height: int = 960
    um_per_px: float = 0.7413
    angle_deg: float = 3.0
    division_um: float = 10.0
    lines: int = 101
    line_um: float = 2.0
    lengths_um: tuple[float, float, float] = (60.0, 90.0, 130.0)  # every, every fifth, every tenth
    centre_um: tuple[float, float] = (500.0, 30.0)  # place on the ruling in the middle of the picture
    light: float = 0.75
    contrast: float = -0.45  # below zero: dark on bright
    blur_px: float = 1.0
    noise: float = 0.01
    shading: float = 0.0
    distortion: float = 0.0
    ruling_error_um: float = 0.0
    missing: tuple[int, ...] = ()
    doubled: tuple[int, ...] = ()
    digits: bool = False
    dust: int = 0
    scratches: int = 0
    base_line: bool = False
    bits: int = 8
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    seed: int = 1


def _places(d: Drawing) -> tuple[np.ndarray, np.ndarray]:
    """Return the place on the ruling (along, across, in um) of every pixel."""
    x = np.arange(d.width) + 0.5 - d.width / 2
    y = (np.arange(d.height) + 0.5 - d.height / 2)[:, None]
    stretch = 1 + d.distortion * (x**2 + y**2) / (d.width**2 + d.height**2) * 4
    a = np.deg2rad(d.angle_deg)
    along = (x * np.cos(a) + y * np.sin(a)) * stretch * d.um_per_px + d.centre_um[0]
    across = (-x * np.sin(a) + y * np.cos(a)) * stretch * d.um_per_px + d.centre_um[1]
    return along.astype(np.float32), across.astype(np.float32)


def _bar(t: np.ndarray, low: float, high: float, blur: float) -> np.ndarray:
    return 0.5 * (erf((t - low) / (blur * np.sqrt(2))) - erf((t - high) / (blur * np.sqrt(2))))


def draw(d: Drawing) -> np.ndarray:
    """Return the drawn picture, (height, width, 3) of uint8 or uint16."""
    rng = np.random.default_rng(d.seed)
    along, across = _places(d)
    blur_um = max(d.blur_px, 0.35) * d.um_per_px
    ink = np.zeros_like(along)
    errors = rng.normal(0, d.ruling_error_um, d.lines) if d.ruling_error_um else np.zeros(d.lines)
    for i in range(d.lines):
        if i in d.missing:
            continue
        place = i * d.division_um + errors[i]
        near = np.abs(along - place) < d.line_um / 2 + 4 * blur_um
        if not near.any():
            continue
        length = d.lengths_um[2 if i % 10 == 0 else 1 if i % 5 == 0 else 0]
        t, v = along[near], across[near]
        mark = _bar(t, place - d.line_um / 2, place + d.line_um / 2, blur_um)
        ink[near] = np.maximum(ink[near], mark * _bar(v, 0, length, blur_um))
    for i in d.doubled:
        place = (i + 0.33) * d.division_um
        mark = _bar(along, place - d.line_um / 2, place + d.line_um / 2, blur_um)
        ink = np.maximum(ink, mark * _bar(across, 0, d.lengths_um[0], blur_um))
    if d.base_line:
        mark = _bar(across, -d.line_um, 0, blur_um) * _bar(along, 0, (d.lines - 1) * d.division_um, blur_um)
        ink = np.maximum(ink, mark)
    if d.digits:
        ink = np.maximum(ink, _digits(d))
    picture = d.light + d.contrast * ink
    picture = _dirt(picture, d, rng)
    x = np.linspace(-1, 1, d.width)
    y = np.linspace(-1, 1, d.height)[:, None]
    picture = picture * (1 - d.shading * (0.6 * (x - 0.3) ** 2 + 0.4 * (y + 0.2) ** 2))
    picture = picture[:, :, None] * np.array(d.tint, np.float32)
    picture = picture + rng.normal(0, d.noise, picture.shape)
    top = 2**d.bits - 1
    return np.clip(np.rint(picture * top), 0, top).astype(np.uint8 if d.bits == 8 else np.uint16)


def _digits(d: Drawing) -> np.ndarray:
    """Numbers beside every tenth line, turned with the ruling."""
    sheet = np.zeros((d.height, d.width), np.uint8)
    a = np.deg2rad(d.angle_deg)
    for i in range(0, d.lines, 10):
        t, v = i * d.division_um - d.centre_um[0], d.lengths_um[2] * 1.25 - d.centre_um[1]
        x = (t * np.cos(a) - v * np.sin(a)) / d.um_per_px + d.width / 2
        y = (t * np.sin(a) + v * np.cos(a)) / d.um_per_px + d.height / 2
        if -50 < x < d.width + 50 and -50 < y < d.height + 50:
            place = (int(x) - 12, int(y) + 10)
            cv2.putText(sheet, str(i), place, cv2.FONT_HERSHEY_SIMPLEX, 0.9, 255, 2, cv2.LINE_AA)
    return sheet.astype(np.float32) / 255


def _dirt(picture: np.ndarray, d: Drawing, rng: np.random.Generator) -> np.ndarray:
    sheet = np.zeros(picture.shape, np.float32)
    for _ in range(d.dust):
        centre = (int(rng.uniform(0, d.width)), int(rng.uniform(0, d.height)))
        axes = (int(rng.uniform(2, 22)), int(rng.uniform(2, 16)))
        cv2.ellipse(
            sheet, centre, axes, rng.uniform(0, 180), 0, 360, float(rng.uniform(0.2, 0.6)), -1, cv2.LINE_AA
        )
    for _ in range(d.scratches):
        p, q = rng.uniform(0, [d.width, d.height], (2, 2)).astype(int)
        cv2.line(
            sheet, p.tolist(), q.tolist(), float(rng.uniform(0.2, 0.5)), int(rng.integers(1, 3)), cv2.LINE_AA
        )
    sheet = cv2.GaussianBlur(sheet, (0, 0), max(0.6, d.blur_px))
    return picture - sheet * picture if d.contrast < 0 else picture + sheet * (1 - picture)


PLAIN = Drawing()
CONDITIONS = (
    PLAIN,
    replace(PLAIN, name="turned 37 degrees", angle_deg=37.0, seed=2),
    replace(PLAIN, name="turned 90 degrees", angle_deg=90.4, seed=3),
    replace(PLAIN, name="turned 151 degrees, 16 bit", angle_deg=151.3, bits=16, seed=4),
    replace(PLAIN, name="bright on dark", light=0.15, contrast=0.55, seed=5),
    replace(PLAIN, name="faint and noisy", contrast=-0.05, noise=0.03, seed=6),
    replace(PLAIN, name="blurred and noisy", blur_px=3.0, noise=0.03, seed=7),
    replace(PLAIN, name="uneven light", shading=0.8, seed=8),
    replace(PLAIN, name="digits, base line", digits=True, base_line=True, angle_deg=-4.0, seed=9),
    replace(PLAIN, name="dust and scratches", dust=90, scratches=14, seed=10),
    replace(PLAIN, name="high zoom, few lines", um_per_px=0.0987, line_um=1.6, angle_deg=8.0, seed=11),
    replace(PLAIN, name="low zoom, dense", um_per_px=1.571, line_um=3.0, angle_deg=1.2, blur_px=0.6, seed=12),
    replace(PLAIN, name="end of the ruling", centre_um=(960.0, 60.0), angle_deg=20.0, seed=13),
    replace(PLAIN, name="missing and doubled", missing=(40, 41, 55, 62), doubled=(35, 50), seed=14),
    replace(PLAIN, name="lens distortion 0.1 %", distortion=0.001, seed=15),
    replace(PLAIN, name="ruling error 0.2 um", ruling_error_um=0.2, seed=16),
    replace(PLAIN, name="wide lines", line_um=5.0, um_per_px=0.35, seed=17),
    replace(PLAIN, name="amber light", tint=(1.0, 0.7, 0.25), contrast=-0.2, seed=18),
    replace(
        PLAIN, name="everything at once", angle_deg=63.0, contrast=-0.2, noise=0.02, blur_px=1.6, shading=0.6,
        digits=True, base_line=True, dust=50, scratches=6, missing=(44,), seed=19,
    ),
)  # fmt: skip
