"""One brightness plane of a picture with the slow change of light taken off, for finding lines."""

import cv2
import numpy as np

from measure.model import Picture


def brightness_planes(picture: Picture) -> list[np.ndarray]:
    """Return planes to look for lines in, the likeliest first, 0 to 1.

    The first is the mix of colours in which fine detail shows most (for black lines, grey). For a picture
    with colour the three channels follow: orange lines on white paper show in the blue one only.

    Returns
    -------
    list of (M, N) ndarray of float32
    """
    top = np.float32(np.iinfo(picture.pixels.dtype).max)
    if picture.grey:
        return [picture.pixels[:, :, 0].astype(np.float32) / top]
    weights, coloured = _main_mix(picture.pixels, float(top))
    planes = [picture.pixels.astype(np.float32) @ (weights / top).astype(np.float32)]
    if coloured:
        planes += [picture.pixels[:, :, k].astype(np.float32) / top for k in (2, 1, 0)]
    return planes


def _main_mix(pixels: np.ndarray, top: float) -> tuple[np.ndarray, bool]:
    """Return the mix of channels along the main fine colour differences; also tell if there is colour."""
    step = max(1, int(np.sqrt(pixels.shape[0] * pixels.shape[1] / 1e6)))
    sample = pixels[::step, ::step].astype(np.float32) / top
    fine = (sample - cv2.blur(sample, (25, 25))).reshape(-1, 3)
    # limit what strong dirt contributes
    fine = np.clip(fine, *np.percentile(fine, [1, 99]))
    values, vectors = np.linalg.eigh(fine.T @ fine)
    colour = float(np.percentile(np.ptp(sample.reshape(-1, 3), axis=1), 95))
    if values[-1] < 1.5 * values[-2] or values[-1] <= 0:
        return np.full(3, 1 / 3), colour > 0.08  # noise in every direction: no mix is better than another
    weights = vectors[:, -1] * (1 if vectors[:, -1].sum() >= 0 else -1)
    return weights / np.abs(weights).sum(), colour > 0.08


def flatten(plane: np.ndarray) -> np.ndarray:
    """Take the slow change of light off: difference from a wide blur, relative to the light there.

    Parameters
    ----------
    plane : (M, N) ndarray of float32

    Returns
    -------
    (M, N) ndarray of float32
        About zero away from marks; strong dirt is limited to a few times the middle contrast.
    """
    width = max(15, int(min(plane.shape) / 8)) | 1
    light = cv2.blur(cv2.blur(plane, (width, width)), (width, width))
    flat = (plane - light) / np.maximum(light, 0.05 * max(float(light.max()), 1e-6))
    limit = 4 * float(np.percentile(np.abs(flat[::3, ::3]), 95)) + 1e-6
    return np.clip(flat, -limit, limit)


def reduced(plane: np.ndarray, factor: int) -> np.ndarray:
    """Average blocks of ``factor`` by ``factor`` px (a remainder at the far edges is left out)."""
    if factor == 1:
        return plane
    rows, columns = (n // factor * factor for n in plane.shape)
    return cv2.resize(
        plane[:rows, :columns], (columns // factor, rows // factor), interpolation=cv2.INTER_AREA
    )


def light_surface(plane: np.ndarray) -> np.ndarray:
    """Return the slow change of light over a picture as a smooth surface of fourth degree, lines left out.

    Lines lean towards the brighter side where the light changes across them; dividing by this surface takes
    the lean away. Ones where the picture is too dark for that.

    Parameters
    ----------
    plane : (M, N) ndarray of float32

    Returns
    -------
    (M, N) ndarray of float32
        Mean one.
    """
    rows, columns = plane.shape
    small = cv2.resize(plane, (min(64, columns), min(64, rows)), interpolation=cv2.INTER_AREA).astype(float)
    y, x = np.linspace(-1, 1, small.shape[0]), np.linspace(-1, 1, small.shape[1])
    powers = [(i, j) for i in range(5) for j in range(5 - i)]
    design = np.stack([np.outer(y**i, x**j).ravel() for i, j in powers], axis=1)
    weights = np.ones(small.size)
    for _ in range(8):
        root = np.sqrt(weights)
        parts, *_ = np.linalg.lstsq(design * root[:, None], small.ravel() * root, rcond=None)
        off = small.ravel() - design @ parts
        limit = 3 * 1.4826 * float(np.median(np.abs(off))) + 1e-6
        weights = np.clip(1 - (off / limit) ** 2, 0, None) ** 2 + 1e-6
    y, x = np.linspace(-1, 1, rows), np.linspace(-1, 1, columns)
    surface = np.zeros((rows, columns), np.float32)
    for (i, j), part in zip(powers, parts, strict=True):
        surface += np.outer(y**i, x**j * part).astype(np.float32)
    mean = float(surface.mean())
    if mean <= 0 or surface.min() < 0.12 * surface.max():
        return np.ones_like(surface)
    return surface / mean
