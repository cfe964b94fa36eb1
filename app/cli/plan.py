"""``gritline plan``: pieces, fields and dilution for a wanted error, before the first picture."""

import argparse
from typing import TYPE_CHECKING

from app.cli.options import positive, share
from measure.errors import InvalidInput

if TYPE_CHECKING:
    from measure.sizes.composition import Paste
    from measure.sizes.plan_whole import WholePlan, Wishes

_SMALLEST_ERROR = 0.001
# what a person types -> dotted name of the figure
FIGURES = {
    "x10,3": "volume.x10_um",
    "x50,3": "volume.x50_um",
    "x90,3": "volume.x90_um",
    "x10,0": "number.x10_um",
    "x50,0": "number.x50_um",
    "x90,0": "number.x90_um",
    "D[1,0]": "means_um.D[1,0]",
    "D[3,2]": "means_um.D[3,2]",
    "D[4,3]": "means_um.D[4,3]",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("--median-um", type=positive, required=True, metavar="D", help="expected median by number, µm")
    add(
        "--sigma-g",
        type=positive,
        required=True,
        metavar="S",
        help="expected geometric standard deviation, such as 1.6",
    )
    add("--error", type=positive, default=0.1, metavar="E", help="wanted relative error, 0.1 is 10 %%")
    add("--figure", default="x90,3", metavar="F", help="figure it is wanted for: " + " ".join(FIGURES))
    add("--cover", type=share, default=0.013, metavar="C", help="wanted cover of the frame, 0.013 is 1.3 %%")
    add("--film-um", type=positive, default=50.0, metavar="H", help="height of the film, µm")
    add("--solids", type=share, metavar="V", help="volume share of solids in the paste (0.45)")
    add(
        "--composition",
        metavar="NAME=G,...",
        help="instead of --solids: g in 100 g, as on the label, such as fat=50,protein=25,carbohydrate=13,"
        "fibre=8,ash=3,water=1",
    )
    add("--rare", type=share, metavar="P", help="share of a rare kind among the pieces, such as 0.01")
    add(
        "--grains",
        type=positive,
        nargs=2,
        metavar=("W", "D"),
        help="mass share of coarse grains, such as salt, and their largest size in µm: paste to be sampled",
    )
    add("--above-um", type=positive, metavar="X", help="also say how many pieces above this size to expect")
    add("--smallest-um", type=positive, metavar="D", help="lower limit of what will be counted, µm")
    add("--grain-density", type=positive, metavar="R", help="of the grains, g/cm3 (2.165, salt)")
    add(
        "--field-um",
        type=positive,
        nargs=2,
        default=(1200.0, 900.0),
        metavar=("W", "H"),
        help="width and height of a field, µm",
    )
    add(
        "--variation",
        type=share,
        default=0.1,
        metavar="CV",
        help="how much the figure differs between fields, 0.1 is 10 %%",
    )
    add("--na", type=positive, metavar="NA", help="numerical aperture of the objective, as printed on it")
    add("--magnification", type=positive, metavar="M", help="of the objective on the camera, with --na")
    add("--camera-px-um", type=positive, metavar="E", help="pixel of the camera's chip, µm, with --na")
    add("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Work the plan out and print it.

    Raises
    ------
    InvalidInput
        If a number is out of range or the figure is not known.
    """
    from app.cli.options import say, warn
    from measure.sizes.plan_whole import WASTE, plan_whole

    wishes = _wishes(args)
    whole = plan_whole(wishes)
    if args.json:
        _print(args, whole, wishes.paste)
        return 0
    for number, step in enumerate(whole.steps, start=1):
        say(f"{number}. {step}")
    for text in (whole.fewer_words, whole.likely_words, *whole.expected, WASTE):
        if text:
            say(text)
    for text in whole.warnings:
        warn(text)
    return 0


def _wishes(args: argparse.Namespace) -> "Wishes":
    from measure.sizes.plan import PASTE_G_PER_CM3, PlanRequest
    from measure.sizes.plan_rare import SALT_G_PER_CM3
    from measure.sizes.plan_whole import USUAL_SOLIDS, Wishes

    _check(args)
    paste = _paste(args)
    solids = USUAL_SOLIDS if args.solids is None else args.solids
    request = PlanRequest(
        median_um=args.median_um,
        sigma_g=args.sigma_g,
        relative_error=args.error,
        figure=FIGURES[args.figure],
        cover=args.cover,
        film_um=args.film_um,
        solids=solids if paste is None else paste.solids,
        frame_um=tuple(args.field_um),
        variation=args.variation,
        paste_g_per_cm3=PASTE_G_PER_CM3 if paste is None else paste.g_per_cm3,
    )
    return Wishes(
        request, paste, args.smallest_um, args.na, args.magnification, args.camera_px_um, args.rare,
        args.above_um, tuple(args.grains) if args.grains else None, args.grain_density or SALT_G_PER_CM3,
    )  # fmt: skip


def _print(args: argparse.Namespace, whole: "WholePlan", paste: "Paste | None") -> None:
    """Print one JSON object; what was not asked for is not in it."""
    from dataclasses import asdict

    from app.cli.options import print_json

    asked = {
        "optics": whole.optics,
        "above": whole.above,
        "rare": whole.rare if whole.rare.steps else None,
        "paste": paste,
    }
    shown = {name: asdict(part) for name, part in asked.items() if part is not None}
    print_json({"figure": args.figure, "relative_error": args.error, **asdict(whole.plan), **shown})


def _check(args: argparse.Namespace) -> None:
    """Refuse options that mean nothing together, before anything is worked out."""
    from app.cli.options import refuse

    refuse(
        args.na is None and (args.magnification or args.camera_px_um) is not None,
        "--magnification and --camera-px-um tell nothing without --na, the numerical aperture.",
    )
    if args.figure not in FIGURES:
        raise InvalidInput(f"--figure '{args.figure}' is not known; use one of {' '.join(FIGURES)}.")
    if args.error < _SMALLEST_ERROR:
        raise InvalidInput(
            f"--error {args.error:g} asks for less than {100 * _SMALLEST_ERROR:g} %, finer than any scale; "
            "give a share such as 0.05, which is 5 %."
        )
    refuse(
        args.grains is None and args.grain_density is not None,
        "--grain-density tells nothing without --grains.",
    )


def _paste(args: argparse.Namespace) -> "Paste | None":
    """Return the paste by its composition; None where that is not given."""
    from measure.sizes.composition import paste_of

    if args.composition is None:
        return None
    if args.solids is not None:
        raise InvalidInput("Give --solids or --composition, not both: each tells the share of solids.")
    percent: dict[str, float] = {}
    for part in args.composition.split(","):
        name, _, value = part.partition("=")
        name = name.strip().lower()
        try:
            grams = float(value)
        except ValueError:
            raise InvalidInput(
                f"--composition '{part}' is no constituent with its grams; write fat=50,protein=25 and so on."
            ) from None
        if name in percent:
            raise InvalidInput(f"--composition names {name} twice.")
        percent[name] = grams
    return paste_of(percent)
