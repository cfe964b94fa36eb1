"""``gritline scale``: micrometres per pixel from a picture of a stage micrometer."""

import argparse
import math

from measure.errors import InvalidInput


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("image", metavar="IMAGE", help="picture of a stage micrometer")
    parser.add_argument(
        "--division-um", metavar="D", help="distance between neighbouring graduations, µm (often 10)"
    )
    parser.add_argument(
        "--certificate-um", metavar="U", help="expanded uncertainty on the ruling's certificate, µm"
    )
    parser.add_argument(
        "--coverage-factor", metavar="K", default="2", help="the certificate's coverage factor k (2)"
    )
    parser.add_argument("--zoom", metavar="NAME", default="", help="name of the zoom setting, such as 10x")
    parser.add_argument("--out", metavar="FILE", help="write the scale to this JSON file")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Find the ruling, print the scale, write it when asked.

    Returns
    -------
    int
        0 done; 1 done, but lines between the graduations make it doubtful which the division counts.

    Raises
    ------
    InvalidInput
        If the picture shows no ruling or an option cannot be used.
    """
    from app.cli.options import print_json, say, warn
    from app.number_text import THIN
    from measure.picture_file import read_picture
    from measure.scale import find_scale, write_scale

    if args.division_um is None:
        raise InvalidInput(
            "The division is missing: give --division-um, the distance between graduations in µm."
        )
    division = _number(args.division_um, "--division-um")
    certificate = None if args.certificate_um is None else _number(args.certificate_um, "--certificate-um")
    factor = _number(args.coverage_factor, "--coverage-factor")
    picture = read_picture(args.image)
    fit = find_scale(
        picture, division_um=division, certificate_um=certificate, coverage_factor=factor, zoom=args.zoom
    )
    if args.out:
        write_scale(args.out, fit.scale)
    for warning in fit.warnings:
        warn(warning)
    checked = int(fit.parts_seen > 1)
    if args.json:
        print_json(scale_json(fit))
        return checked
    for line in scale_lines(fit, picture):
        say(line.replace(THIN, " "))
    if args.out:
        say(f"Written to {args.out}")
    return checked


def scale_json(fit) -> dict:
    """Return the object that ``--json`` prints."""
    scale = fit.scale
    names = (
        "um_per_px",
        "standard_uncertainty_um_per_px",
        "angle_deg",
        "graduations",
        "residual_px",
        "division_um",
    )
    return {name: getattr(scale, name) for name in names}


def scale_lines(fit, picture) -> list[str]:
    """Return the summary a person reads."""
    from app import scale_words as words

    scale = fit.scale
    zoom = f" at {scale.zoom}" if scale.zoom else ""
    lines = [
        f"Scale of {picture.name}{zoom}",
        f"  {words.result_text(fit)} (expanded uncertainty, 95 %)",
        f"  {words.uncertainty_text(fit)}",
        f"  {words.graduations_text(fit)}",
        f"  {words.effect_text(scale)}",
        f"  Use it only for pictures of {words.size_text(scale)} taken at this zoom.",
    ]
    if scale.certificate_um is None:
        lines.append(f"  {words.WITHOUT_CERTIFICATE}")
    if picture.embedded_um_per_px:
        claim = f"{picture.embedded_um_per_px:.5g} µm per px ({picture.embedded_source})"
        lines.append(f"  The file itself claims {claim}; that is only a hint.")
    return lines


def _number(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InvalidInput(f"{name} '{text}' is no number.")
    return value
