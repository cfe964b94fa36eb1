"""What an objective shows, against worked tables of the named formulas for green light of 0.55 µm."""

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.scale.optics import (
    abbe_um,
    depth_um,
    largest_pixel_um,
    rayleigh_um,
    smallest_resolved_um,
    smallest_sure_um,
)

NA = [0.03, 0.05, 0.10, 0.14, 0.20, 0.25, 0.40, 0.65]


def test_resolution_and_sampling():
    # Rayleigh 0.61 lambda / NA; Abbe lambda / (2 NA); sampling theorem lambda / (4 NA)
    wanted = [11.183, 6.710, 3.355, 2.396, 1.6775, 1.342, 0.83875, 0.51615]
    assert [rayleigh_um(na) for na in NA] == pytest.approx(wanted, rel=3e-4)
    wanted = [9.167, 5.5, 2.75, 1.964, 1.375, 1.1, 0.6875, 0.4231]
    assert [abbe_um(na) for na in NA] == pytest.approx(wanted, rel=3e-4)
    wanted = [4.583, 2.75, 1.375, 0.982, 0.6875, 0.55, 0.34375, 0.21154]
    assert [largest_pixel_um(na) for na in NA] == pytest.approx(wanted, rel=3e-4)
    assert smallest_sure_um(0.25) == pytest.approx(5.5)


def test_depth_of_field():
    # lambda / NA^2, Wu, Merchant and Castleman, Microscope Image Processing (2008), eq. 17.2
    wanted = [611.1, 220, 55, 28.06, 13.75, 8.8, 3.4375, 1.3018]
    assert [depth_um(na) for na in NA] == pytest.approx(wanted, rel=3e-4)
    wanted = [898.3, 323.4, 80.85, 41.25, 20.21, 12.94, 5.053, 1.914]
    assert [depth_um(na, index=1.47) for na in NA] == pytest.approx(wanted, rel=4e-4)


@pytest.mark.parametrize(
    ("camera", "wanted"), [(5.0, [67.5, 10.8, 4.0625, 1.4941]), (3.45, [63.625, 10.18, 3.869, 1.4344])]
)
def test_depth_with_a_camera(camera, wanted):
    # the same and e / (M NA) for the camera's pixel, common practice
    pairs = ((4, 0.10), (10, 0.25), (20, 0.40), (40, 0.65))
    found = [depth_um(na, magnification=m, camera_px_um=camera) for m, na in pairs]
    assert found == pytest.approx(wanted, abs=6e-4)


@pytest.mark.parametrize("na", [0, -0.1, float("nan"), 2.0])
def test_what_is_no_aperture_is_refused(na):
    with pytest.raises(InvalidInput, match="numerical aperture"):
        rayleigh_um(na)


def _half_contrast(diameter, step=0.02, points=1024):
    """Return the diameter at half contrast of a disc behind the Airy pattern, in Rayleigh's distances."""
    from scipy.special import j1

    along = (np.arange(points) - points // 2) * step
    radius = np.hypot(*np.meshgrid(along, along))
    at = np.maximum(3.8317 * radius, 1e-9)  # the first dark ring lies at 3.8317 = Rayleigh's distance
    pattern = (2 * j1(at) / at) ** 2
    disc = np.clip((diameter / 2 - radius) / step + 0.5, 0, 1)
    seen = np.fft.irfft2(np.fft.rfft2(disc) * np.fft.rfft2(np.fft.ifftshift(pattern / pattern.sum())))
    profile = seen[points // 2, points // 2 :]
    k = int(np.argmax(profile < profile[0] / 2))
    return 2 * step * (k - 1 + (profile[k - 1] - profile[0] / 2) / (profile[k - 1] - profile[k]))


def test_sizes_hold_from_twice_the_rayleigh_distance_on():
    # derived here: incoherent light through a perfect round aperture (Airy, Trans. Camb. Phil. Soc. 5, 1835)
    limit = smallest_resolved_um(0.05) / rayleigh_um(0.05)
    off = {d: _half_contrast(d) / d - 1 for d in (0.25, 0.5, 0.75, 1.5, limit, 2.5, 3.0, 5.0)}
    assert off[limit] == pytest.approx(-0.036, abs=0.004)
    assert all(abs(off[d]) < 0.04 for d in off if d >= limit)
    assert off[1.5] == pytest.approx(-0.07, abs=0.005)
    assert off[0.5] == pytest.approx(0.76, abs=0.03)
    # far below the limit all discs look alike
    assert 0.25 * (1 + off[0.25]) == pytest.approx(0.5 * (1 + off[0.5]), rel=0.07)


def test_an_aperture_no_objective_has_is_refused():
    with pytest.raises(InvalidInput, match="numerical aperture"):
        smallest_resolved_um(3.0)
