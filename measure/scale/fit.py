"""From graduations to micrometres per pixel: the fit, its uncertainty and what is doubtful about it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from measure.errors import InvalidInput
from measure.model import Scale
from measure.scale.line_family import straight_line
from measure.scale.scale_file import check_um_per_px

FEW = 5


@dataclass(frozen=True)
class RulingFit:
    """A scale, and the graduations it rests on.

    Attributes
    ----------
    scale : Scale
    lines : (K, 4) ndarray
        x0, y0, x1, y1 in px of each graduation used.
    index : (K,) ndarray of int
        Whole number of divisions from the first.
    residuals_px : (K,) ndarray
        Distance of each graduation from its place in the fit.
    left_out : (J, 4) ndarray
        Lines seen but not used, because they lie off the even spacing.
    warnings : tuple of str
        Plain sentences about what is doubtful.
    u_fit, u_certificate, u_bend : float
        Relative standard uncertainties from the fit, the ruling's certificate, and uneven spacing.
    freedom : int
        Degrees of freedom of the fit.
    line_width_px : float
    parts_seen : int
        Into how many parts lines seen between the graduations divide a division; above 1 it is doubtful which
        lines the division counts.
    """

    scale: Scale
    lines: np.ndarray
    index: np.ndarray
    residuals_px: np.ndarray
    left_out: np.ndarray
    warnings: tuple[str, ...] = ()
    u_fit: float = 0.0
    u_certificate: float = 0.0
    u_bend: float = 0.0
    freedom: int = 0
    line_width_px: float = float("nan")
    parts_seen: int = 1

    @property
    def expanded_um_per_px(self) -> float:
        """Half-width of the 95 % interval (JCGM 100, annex G)."""
        return expanded(self)


@dataclass(frozen=True)
class Certificate:
    """What is known of the ruling's length: expanded uncertainty over its span, and the coverage factor."""

    expanded_um: float | None = None
    coverage_factor: float = 2.0


def check_ruling(division_um: float, certificate_um: float | None, coverage_factor: float) -> Certificate:
    """Check what the user typed about a ruling.

    Raises
    ------
    InvalidInput
        If a number cannot be meant.
    """
    if not np.isfinite(division_um) or not 0.01 <= division_um <= 1e6:
        raise InvalidInput(
            f"The division is {division_um:g} µm; give the distance between neighbouring lines."
        )
    if certificate_um is not None and not (np.isfinite(certificate_um) and 0 <= certificate_um <= 1e5):
        raise InvalidInput(
            f"The certificate's uncertainty is {certificate_um:g} µm; give a number from 0 up in µm."
        )
    if not (np.isfinite(coverage_factor) and 0.5 <= coverage_factor <= 10):
        raise InvalidInput(f"The coverage factor is {coverage_factor:g}; certificates state about 2.")
    return Certificate(certificate_um, coverage_factor)


def fit_positions(places_px: np.ndarray, lengths_um: np.ndarray, certificate: Certificate) -> dict:
    """Fit places in px against lengths in µm.

    Parameters
    ----------
    places_px, lengths_um : (K,) ndarray
    certificate : Certificate

    Returns
    -------
    dict
        um_per_px, u_fit, u_certificate, u_bend (relative), residuals_px, residual_px, freedom.

    Notes
    -----
    The lengths are exact beside the places, so px are regressed on µm and the slope inverted. Components add
    in quadrature (JCGM 100, 5.1.2); the certificate's is U/k over the span used.
    """
    line = straight_line(lengths_um, places_px)
    span = float(np.ptp(lengths_um))
    u_fit = line.u_slope / line.slope if line.freedom > 0 else 0.0
    u_certificate = 0.0
    if certificate.expanded_um:
        u_certificate = certificate.expanded_um / certificate.coverage_factor / span
    residuals = places_px - line.intercept - line.slope * lengths_um
    return {
        "um_per_px": 1.0 / line.slope,
        "u_fit": float(u_fit),
        "u_certificate": float(u_certificate),
        "u_bend": uneven_spacing(lengths_um, residuals, line.slope),
        "residuals_px": residuals,
        "residual_px": line.residual_sd if line.freedom > 0 else float("nan"),
        "freedom": max(line.freedom, 0),
    }


def uneven_spacing(lengths_um: np.ndarray, residuals_px: np.ndarray, slope: float) -> float:
    """Return the relative standard uncertainty from a smooth bend in the spacing; 0 where none is clear.

    A quadratic and cubic trend that an F-test finds significant (p < 0.001) means that the scale changes over
    the picture, as lens distortion does. The largest departure of the local scale is taken as a rectangular
    half-width (JCGM 100, 4.3.7).
    """
    if len(lengths_um) < 8:
        return 0.0
    from scipy.special import betainc

    x = 2 * (lengths_um - lengths_um.min()) / np.ptp(lengths_um) - 1
    basis = np.polynomial.legendre.legvander(x, 3)
    coefficients, *_ = np.linalg.lstsq(basis, residuals_px, rcond=None)
    rest = float(np.sum((residuals_px - basis @ coefficients) ** 2))
    gain = float(np.sum(residuals_px**2)) - rest
    freedom = len(x) - 4
    # F = (gain / 2) / (rest / freedom); its upper tail through the incomplete beta function
    tail = float(betainc(freedom / 2, 1.0, rest / max(rest + gain, 1e-300)))
    if tail > 1e-3:
        return 0.0
    trend = np.polynomial.legendre.Legendre([0, 0, coefficients[2], coefficients[3]]).deriv()
    local = trend(np.linspace(-1, 1, 101)) * 2 / np.ptp(lengths_um) / slope
    return float(np.abs(local).max() / np.sqrt(3))


def make_scale(fit: dict, picture_size: tuple[int, int] | None, **facts: Any) -> Scale:
    """Make the scale of a fit; its uncertainty adds fit, certificate and bend in quadrature.

    Raises
    ------
    InvalidInput
        If the result is no usable scale.
    """
    um_per_px = check_um_per_px(fit["um_per_px"], "the ruling")
    relative = float(np.sqrt(fit["u_fit"] ** 2 + fit["u_certificate"] ** 2 + fit["u_bend"] ** 2))
    width, height = picture_size or (None, None)
    base = Scale(um_per_px, um_per_px * relative, width_px=width, height_px=height)
    made = datetime.now().astimezone().isoformat(timespec="seconds")
    residual = fit["residual_px"] if np.isfinite(fit["residual_px"]) else None
    return replace(base, made=made, residual_px=residual, **facts)


def expanded(fit: RulingFit) -> float:
    """Return the half-width of the 95 % interval of um per px.

    The fit's component has few degrees of freedom; the effective number is that of Welch and Satterthwaite
    (JCGM 100, G.4.1), the other components being taken as well known.
    """
    u = fit.scale.standard_uncertainty_um_per_px
    share = fit.u_fit * fit.scale.um_per_px
    if u <= 0 or share <= 0 or fit.freedom < 1:
        return 2.0 * u
    from scipy.special import stdtrit

    effective = fit.freedom * (u / share) ** 4
    return float(stdtrit(min(effective, 1e6), 0.975)) * u


def revised(
    fit: RulingFit,
    *,
    division_um: float,
    certificate_um: float | None = None,
    coverage_factor: float = 2.0,
    zoom: str = "",
) -> RulingFit:
    """Return the fit of the same lines for another division, certificate or zoom name.

    Raises
    ------
    InvalidInput
        If a number cannot be meant.
    """
    certificate = check_ruling(division_um, certificate_um, coverage_factor)
    old = fit.scale
    ratio = division_um / old.division_um if old.division_um else 1.0
    span = float(fit.index[-1] - fit.index[0]) * division_um
    u_certificate = 0.0
    if certificate.expanded_um and span > 0:
        u_certificate = certificate.expanded_um / certificate.coverage_factor / span
    relative = float(np.sqrt(fit.u_fit**2 + fit.u_bend**2 + u_certificate**2))
    um_per_px = check_um_per_px(old.um_per_px * ratio, "the ruling")
    scale = replace(
        old,
        um_per_px=um_per_px,
        standard_uncertainty_um_per_px=um_per_px * relative,
        division_um=float(division_um) if old.division_um else None,
        certificate_um=certificate.expanded_um,
        coverage_factor=certificate.coverage_factor if certificate.expanded_um is not None else None,
        zoom=zoom,
    )
    return replace(fit, scale=scale, u_certificate=u_certificate)


_PLAIN = ("u_fit", "u_certificate", "u_bend", "freedom", "line_width_px")


def fit_to_plain(fit: RulingFit) -> dict:
    """Return everything of a fit but its scale as plain lists and numbers, to be kept with the scale."""
    plain = {name: float(getattr(fit, name)) for name in _PLAIN if np.isfinite(getattr(fit, name))}
    arrays = {
        "lines": fit.lines,
        "index": fit.index,
        "residuals_px": fit.residuals_px,
        "left_out": fit.left_out,
    }
    return plain | {name: np.asarray(a).tolist() for name, a in arrays.items()}


def fit_from_plain(plain: Mapping[str, Any], scale: Scale) -> RulingFit | None:
    """Return the fit kept with a scale; None where what is kept is not enough."""
    try:
        lines = np.asarray(plain["lines"], float).reshape(-1, 4)
        index = np.asarray(plain["index"], int).reshape(-1)
        residuals = np.asarray(plain["residuals_px"], float).reshape(-1)
        left_out = np.asarray(plain.get("left_out", []), float).reshape(-1, 4)
        numbers: dict[str, Any] = {name: float(plain[name]) for name in _PLAIN if name in plain}
    except (KeyError, TypeError, ValueError):
        return None
    if not len(lines) == len(index) == len(residuals) >= 2:
        return None
    numbers["freedom"] = int(numbers.get("freedom", 0))
    return RulingFit(scale, lines, index, residuals, left_out, tuple(scale.notes), **numbers)
