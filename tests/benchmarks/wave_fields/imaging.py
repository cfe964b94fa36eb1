"""Partially coherent imaging of thin slices of matter, summed over the points of a condenser.

Each point of the condenser sends a plane wave through the film (Abbe's sum, which gives what Hopkins' theory
of partial coherence does: Born & Wolf, Principles of Optics, section 10.5, from memory). The film is a stack
of slices: each multiplies the wave by its complex transmission, and between slices it travels by its
angular spectrum, paraxially (Goodman, Introduction to Fourier Optics, ch. 3 and 4, from memory). The
objective cuts off what leaves its pupil, so light that a steep face refracts away is lost by itself.

Lengths are in um. Slices are sampled twice as finely as the camera, which then keeps what it can carry.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

FINE = 2  # samples of a slice for each pixel of the camera, in both directions
OIL = 1.47  # index of nut oils, from memory
BANDS_UM = ((0.60, 0.63), (0.525, 0.56), (0.45, 0.475))  # two wavelengths each for red, green, blue


@dataclass(frozen=True)
class Optics:
    """Objective and condenser.

    ``na`` is the aperture of the objective; ``condenser`` the inner and outer aperture of the lit part of the
    condenser in units of ``na`` (beyond 1 it is dark field); ``shift`` moves it aside, in the same units;
    ``focus_um`` is the height of the focal plane in green, red and blue lie ``chroma_um`` above and below.
    """

    px_um: float = 0.5
    na: float = 0.22
    condenser: tuple[float, float] = (0.0, 0.5)
    shift: float = 0.0
    focus_um: float = 0.0
    chroma_um: float = 2.0
    points: int = 24


@dataclass(frozen=True)
class Slice:
    """Matter at one height: optical path beyond that of oil, and optical depth (natural) of three colours."""

    height_um: float
    path_um: np.ndarray  # (FINE * M, FINE * N) float32
    depth: np.ndarray  # (FINE * M, FINE * N, 3) float32


def expose(slices: list[Slice], optics: Optics, rng: np.random.Generator) -> np.ndarray:
    """Return the light on the camera, (M, N, 3) float32; in bright field 1 is clear oil."""
    angle = rng.uniform(0, 2 * np.pi)
    planes = []
    for colour, (band, sign) in enumerate(zip(BANDS_UM, (1, 0, -1), strict=True)):
        focus = optics.focus_um + sign * optics.chroma_um
        light = np.zeros([n // FINE for n in slices[0].path_um.shape], np.float32)
        for k, wave in enumerate(band):
            waves = [_spectrum(s.path_um, s.depth[..., colour], wave, optics) for s in slices]
            for point in _sources(optics, angle)[k :: len(band)]:
                light += _one_point(waves, [s.height_um for s in slices], point, wave, focus, optics)
        planes.append(light / optics.points)
    return np.stack(planes, axis=2)


def _sources(optics: Optics, angle: float) -> np.ndarray:
    """Apertures (sines) of the points of the condenser, (K, 2), evenly spread over a disc or ring."""
    inner, outer = optics.condenser
    k = np.arange(optics.points)
    r = np.sqrt(inner**2 + (outer**2 - inner**2) * (k + 0.5) / optics.points)
    turn = k * np.pi * (3 - np.sqrt(5)) + angle
    x = r * np.cos(turn) + optics.shift * np.cos(angle)
    y = r * np.sin(turn) + optics.shift * np.sin(angle)
    return optics.na * np.column_stack([x, y])


def _spectrum(path_um: np.ndarray, depth: np.ndarray, wave_um: float, optics: Optics) -> np.ndarray:
    """Angular spectrum of a slice's transmission at the camera's sampling.

    Where the path jumps by nearly half a wave from sample to sample the light goes beyond any pupil: such
    places are dark.
    """
    jump = np.zeros(path_um.shape, np.float32)
    for axis in (0, 1):
        step = np.abs(np.diff(path_um, axis=axis, append=np.take(path_um, [0], axis=axis)))
        np.maximum(jump, step, out=jump)
        np.maximum(jump, np.roll(step, 1, axis=axis), out=jump)
    size = np.exp(-0.5 * depth) * np.clip(5.0 - jump / (0.1 * wave_um), 0.0, 1.0)
    phase = path_um * np.float32(2 * np.pi / wave_um)
    wave = np.empty(path_um.shape, np.complex64)
    wave.real, wave.imag = size * np.cos(phase), size * np.sin(phase)
    full = fft.fft2(wave, overwrite_x=True)
    m, n = (s // FINE for s in full.shape)
    rows = np.r_[0 : (m + 1) // 2, full.shape[0] - m // 2 : full.shape[0]]
    cols = np.r_[0 : (n + 1) // 2, full.shape[1] - n // 2 : full.shape[1]]
    return full[np.ix_(rows, cols)] / np.float32(FINE**2)


def _one_point(
    spectra: list[np.ndarray],
    heights_um: list[float],
    point: np.ndarray,
    wave_um: float,
    focus_um: float,
    optics: Optics,
) -> np.ndarray:
    """Intensity from one point of the condenser."""
    m, n = spectra[0].shape
    fx, fy = np.fft.fftfreq(n, optics.px_um), np.fft.fftfreq(m, optics.px_um)
    # the plane wave fits the period of the field
    gx = fx + np.round(point[0] / wave_um * n * optics.px_um) / (n * optics.px_um)
    gy = fy + np.round(point[1] / wave_um * m * optics.px_um) / (m * optics.px_um)
    wave = spectra[0]
    for k in range(1, len(spectra)):
        wave = _travelled(wave, gx, gy, heights_um[k] - heights_um[k - 1], wave_um)
        wave = fft.ifft2(wave, overwrite_x=True) * fft.ifft2(spectra[k])
        wave = fft.fft2(wave, overwrite_x=True)
    wave = _travelled(wave, gx, gy, focus_um - heights_um[-1], wave_um)
    radius = np.hypot(gx[None, :], gy[:, None]).astype(np.float32)
    edge = optics.px_um * max(m, n)
    wave = fft.ifft2(wave * np.clip((optics.na / wave_um - radius) * edge + 0.5, 0, 1), overwrite_x=True)
    return wave.real**2 + wave.imag**2


def _travelled(wave: np.ndarray, gx: np.ndarray, gy: np.ndarray, way_um: float, wave_um: float) -> np.ndarray:
    """The spectrum after a way through oil (paraxial)."""
    turn = -1j * np.pi * wave_um * way_um / OIL
    along, down = np.exp(turn * gx**2), np.exp(turn * gy**2)
    return wave * (down.astype(np.complex64)[:, None] * along.astype(np.complex64)[None, :])
