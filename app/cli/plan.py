"""``gritline plan``: pieces, fields and dilution for a wanted error, before the first picture."""

import argparse

from app.cli.options import positive, share
from measure.errors import InvalidInput

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
    add("--solids", type=share, default=0.45, metavar="V", help="volume share of solids in the paste")
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
    from dataclasses import asdict

    from app.cli.options import print_json, refuse, say, warn
    from measure.sizes.plan import PlanRequest, plan_measurement
    from measure.sizes.plan_optics import plan_optics

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
    request = PlanRequest(
        median_um=args.median_um,
        sigma_g=args.sigma_g,
        relative_error=args.error,
        figure=FIGURES[args.figure],
        cover=args.cover,
        film_um=args.film_um,
        solids=args.solids,
        frame_um=tuple(args.field_um),
        variation=args.variation,
    )
    plan, optics = plan_measurement(request), None
    if args.na is not None:
        optics = plan_optics(
            request, args.na, magnification=args.magnification, camera_px_um=args.camera_px_um
        )
    if args.json:
        shown = {} if optics is None else {"optics": asdict(optics)}
        print_json({"figure": args.figure, "relative_error": args.error, **asdict(plan), **shown})
        return 0
    for number, step in enumerate((*plan.steps, *(optics.steps if optics else ())), start=1):
        say(f"{number}. {step}")
    say(
        f"Expected: x50 by volume {plan.volume_median_um:.3g} µm, D[3,2] {plan.sauter_um:.3g} µm, "
        f"one piece in a thousand above {plan.largest_um:.3g} µm."
    )
    say("Diluted paste and slide oil are waste: they never go back to food and are never tasted.")
    for text in (*plan.warnings, *(optics.warnings if optics else ())):
        warn(text)
    return 0
