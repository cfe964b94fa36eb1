"""What light does at one piece: absorption, loss by refraction, phase contrast of defocus, blur.

Lengths are in px of the frame. Refractive indices, from memory: nut oils 1.47, rock salt 1.544
(sodium D line, handbooks of minerals), dry plant protein and cell wall about 1.53, air 1.00.
"""

import cv2
import numpy as np

from .body import Body, Piece

OIL = 1.47
SALT = 1.544 - OIL
PLANT = 1.53 - OIL
AIR = 1.00 - OIL
DEPTH_BLUR = 0.25  # blur (sd, px) for each px of height: a numerical aperture of about 0.25


def blur_px(height_px: float, sharp_px: float) -> float:
    """Return the sd of the blur of a piece at this height."""
    return float(np.hypot(sharp_px, DEPTH_BLUR * abs(height_px)))


def _smooth(field: np.ndarray, sd: float) -> np.ndarray:
    return cv2.GaussianBlur(field, (0, 0), sd) if sd > 0.2 else field


def _shrunk(field: np.ndarray, fine: int) -> np.ndarray:
    if fine == 1:
        return field
    size = (field.shape[1] // fine, field.shape[0] // fine)
    return cv2.resize(field, size, interpolation=cv2.INTER_AREA)


def transmission(
    piece: Piece, body: Body, *, aperture: float, focus_px: float, lamp: tuple[float, float], sharp_px: float
) -> np.ndarray:
    """Share of the light that passes, (h, w, 3), blurred; 1 is clear oil.

    Absorption follows Beer and Lambert. A slope of the optical path sends light out of the aperture (Gaussian
    pupil). Defocus turns curvature of the optical path into intensity (transport-of-intensity equation), with
    a sign that depends on the side of the focus. A lamp off the axis lights slopes unevenly.
    """
    stuff, fine = piece.stuff, body.fine
    density = body.density[..., None] * np.asarray(stuff.absorb, dtype=np.float32)
    path = _smooth((stuff.step * body.thick).astype(np.float32), 0.55 * fine)
    gy, gx = np.gradient(path, 1.0 / fine)
    slope2 = gx**2 + gy**2
    kept = 0.06 + 0.94 * np.exp(-slope2 / aperture**2)
    soft = _smooth(path, 1.0 * fine)
    curve = cv2.Laplacian(soft, cv2.CV_32F, ksize=1) * fine**2
    z = focus_px + piece.height_px
    fringe = 1.0 - np.clip(np.clip(z, -14.0, 14.0) * curve, -0.75, 0.55)
    tilt = 1.0 + np.clip((gx * lamp[0] + gy * lamp[1]) / aperture, -0.35, 0.35)
    clear = (kept * fringe * tilt)[..., None] * 10.0 ** (-density)
    clear = _shrunk(clear.astype(np.float32), fine)
    return _smooth(clear, blur_px(piece.height_px, sharp_px))


def scattering(piece: Piece, body: Body, sharp_px: float) -> np.ndarray:
    """Light a piece sends into a dark field, (h, w, 3): its slopes most, its cloudy inside less."""
    stuff, fine = piece.stuff, body.fine
    path = _smooth((stuff.step * body.thick).astype(np.float32), 0.5 * fine)
    gy, gx = np.gradient(path, 1.0 / fine)
    edge = 1.0 - np.exp(-(gx**2 + gy**2) / 0.15**2) + 0.7 * np.exp(-body.depth / 1.6)
    cloud = 1.0 - np.exp(-0.7 * body.density * stuff.lumps / 0.25)
    light = (0.5 * edge * (stuff.kind != "skin") + 0.5 * cloud)[..., None] * np.asarray(stuff.albedo)
    light = light.astype(np.float32) * body.mask[..., None]
    return _smooth(_shrunk(light, fine), blur_px(piece.height_px, sharp_px))


def reflection(piece: Piece, body: Body, lamp: tuple[float, float], sharp_px: float):
    """Reflected light: premultiplied colour (h, w, 3) and cover (h, w) of one piece lit from the side."""
    stuff, fine = piece.stuff, body.fine
    relief = _smooth(body.thick.astype(np.float32), 1.2 * fine) * 0.5
    gy, gx = np.gradient(relief, 1.0 / fine)
    norm = 1.0 / np.sqrt(1.0 + gx**2 + gy**2)
    lit = np.clip((-gx * lamp[0] - gy * lamp[1] + 0.85) * norm, 0.0, None)
    texture = np.clip(
        0.75 + 0.3 * body.density / (np.percentile(body.density[body.mask], 90) + 1e-6), 0.5, 1.2
    )
    colour = (0.45 + 0.60 * lit)[..., None] * np.asarray(stuff.albedo) * texture[..., None]
    if stuff.kind == "salt":
        colour = 0.75 * colour + 0.5 * (lit[..., None] > 0.93)
    cover = body.mask.astype(np.float32)
    sd = blur_px(piece.height_px, sharp_px)
    premultiplied = _shrunk((colour * cover[..., None]).astype(np.float32), fine)
    return _smooth(premultiplied, sd), _smooth(_shrunk(cover, fine), sd)
