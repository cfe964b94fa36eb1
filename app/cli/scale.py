"""``gritline scale``: micrometres per pixel from a picture of a stage micrometer."""

import argparse
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from measure.errors import InvalidInput

if TYPE_CHECKING:
    from measure.model import Picture
    from measure.scale import RulingFit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "image", metavar="IMAGE", help="picture of a stage micrometer, or with a bar drawn into it"
    )
    parser.add_argument(
        "--division-um", metavar="D", help="distance between neighbouring graduations, µm (often 10)"
    )
    parser.add_argument(
        "--certificate-um", metavar="U", help="expanded uncertainty on the ruling's certificate, µm"
    )
    parser.add_argument("--coverage-factor", metavar="K", help="the certificate's coverage factor k (2)")
    parser.add_argument(
        "--ends",
        metavar="X0,Y0,X1,Y1",
        help="both ends (px) of a bar drawn into the picture, instead of a ruling",
    )
    parser.add_argument("--length-um", metavar="L", help="length the bar names, µm")
    parser.add_argument("--zoom", metavar="NAME", default="", help="name of the zoom setting, such as 10x")
    parser.add_argument(
        "--na",
        metavar="NA",
        help="numerical aperture of the objective, as printed on it; the file keeps it, so that sizes too "
        "small for it are told",
    )
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
    from app.scale_words import objective_text
    from measure.picture_file import read_picture
    from measure.scale import write_scale

    na = None if args.na is None else _number(args.na, "--na")
    shows = "" if na is None else objective_text(na)  # one that no objective has is refused before all else
    by_hand = args.ends is not None or args.length_um is not None
    fit_it = _of_bar(args) if by_hand else _of_ruling(args)
    _check_out(args.out)
    picture = read_picture(args.image)
    fit = fit_it(picture)
    if args.out:
        write_scale(args.out, fit.scale, na)
    for warning in fit.warnings:
        warn(warning)
    checked = int(fit.parts_seen > 1)
    if args.json:
        print_json(scale_json(fit) | ({} if na is None else {"objective_na": na}))
        return checked
    for line in scale_lines(fit, picture):
        say(re.sub(rf"(?<=\d){THIN}(?=\d)", ",", line).replace(THIN, " "))  # thousands as all commands do
    if na is not None:
        say(f"  An objective of NA {na:g}: {shows[0].lower()}{shows[1:]}")
    if args.out:
        say(f"Written to {args.out}")
    return checked


def _check_out(out: str | None) -> None:
    """Refuse to write over what is no scale file: the picture itself, a study, a table."""
    from pathlib import Path

    if out is None or not Path(out).is_file():
        return
    try:
        with Path(out).open("rb") as file:
            begins = file.read(64).lstrip()
    except OSError:
        return  # the writing will say it
    if begins and not begins.startswith(b"{"):
        raise InvalidInput(f"--out {out} is there already and is no scale file; choose another name.")


def _of_ruling(args: argparse.Namespace) -> "Callable[[Picture], RulingFit]":
    """Return what finds the ruling in a picture."""
    from measure.scale import find_scale

    if args.division_um is None:
        raise InvalidInput(
            "The division is missing: give --division-um, the distance between graduations in µm; for a bar "
            "drawn into the picture give --ends and --length-um instead."
        )
    division = _number(args.division_um, "--division-um")
    options = {**_certificate(args), "division_um": division}

    def fit(picture: "Picture") -> "RulingFit":
        try:
            return find_scale(picture, **options)
        except InvalidInput as error:
            if "no ruling" not in error.text:
                raise
            hint = "Is there only a bar drawn into it? Give both its ends with --ends, and --length-um."
            raise InvalidInput(f"{error.text} {hint}") from error

    return fit


def _of_bar(args: argparse.Namespace) -> "Callable[[Picture], RulingFit]":
    """Return what makes the scale from the two ends of a bar."""
    from measure.scale import scale_from_points

    if args.ends is None or args.length_um is None:
        raise InvalidInput("A bar needs both --ends X0,Y0,X1,Y1 in px and --length-um, the length it names.")
    if args.division_um is not None:
        raise InvalidInput("Give either --division-um for a ruling, or --ends and --length-um for a bar.")
    typed = args.ends.split(",")
    if len(typed) != 4:
        raise InvalidInput(f"--ends {args.ends}: give x and y of both ends in px, as in 496,440,601,440.")
    x0, y0, x1, y1 = (_number(text, "--ends") for text in typed)
    length = _number(args.length_um, "--length-um")

    def fit(picture: "Picture") -> "RulingFit":
        height, width = picture.pixels.shape[:2]
        if not all(0 <= x <= width and 0 <= y <= height for x, y in ((x0, y0), (x1, y1))):
            raise InvalidInput(
                f"--ends {args.ends} lie outside {picture.name}, which is {width} × {height} px."
            )
        return scale_from_points(
            [[x0, y0], [x1, y1]], lengths_um=[length], picture=picture, **_certificate(args)
        )

    return fit


def _certificate(args: argparse.Namespace) -> dict:
    certificate = None if args.certificate_um is None else _number(args.certificate_um, "--certificate-um")
    if certificate is None and args.coverage_factor is not None:
        raise InvalidInput("--coverage-factor tells nothing without --certificate-um, which it belongs to.")
    factor = 2.0 if args.coverage_factor is None else _number(args.coverage_factor, "--coverage-factor")
    return {"certificate_um": certificate, "coverage_factor": factor, "zoom": args.zoom}


def scale_json(fit: "RulingFit") -> dict:
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


def scale_lines(fit: "RulingFit", picture: "Picture") -> list[str]:
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
    unsure = words.unsure_text(scale)
    if unsure:
        lines.append(f"  {unsure}")
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
