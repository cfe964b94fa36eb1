"""``gritline measure``: pictures in; particle table, field table and sizes out."""

import argparse

from app.cli.options import positive, share, whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument(
        "pictures", nargs="+", metavar="IMAGE|FOLDER", help="pictures, or folders of pictures"
    )
    scale = parser.add_argument_group("scale (one of the first two)")
    scale.add_argument("--um-per-px", metavar="S", help="micrometres per pixel, typed")
    scale.add_argument("--scale", metavar="FILE", help="scale file written by: gritline scale --out")
    scale.add_argument(
        "--na",
        type=positive,
        metavar="NA",
        help="numerical aperture of the objective, to tell sizes too small for it; the scale file or the "
        "study may know it, and a study keeps it",
    )
    how = parser.add_argument_group("how to measure")
    how.add_argument(
        "--smallest-um", type=positive, metavar="D", help="smallest size counted (default: 10 pixels)"
    )
    how.add_argument(
        "--sensitivity", type=share, default=0.5, metavar="0..1", help="how faint a piece is still found"
    )
    how.add_argument(
        "--cut-strength", type=share, default=0.5, metavar="0..1", help="how shallow a neck is still cut"
    )
    how.add_argument("--blank", metavar="IMAGE", help="picture of blank oil, to divide the light out")
    how.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="X0,Y0,X1,Y1",
        help="leave out this rectangle (px) of every picture, such as a burnt-in bar; may be repeated",
    )
    how.add_argument(
        "--count-border",
        action="store_true",
        help="count an even black or white border round the view too; it is left out by itself otherwise",
    )
    how.add_argument(
        "--bar",
        metavar="LENGTH",
        help="what the bar drawn into the pictures says, such as '20 µm', to hold it against the scale",
    )
    how.add_argument(
        "--count-once",
        action="store_true",
        help="look for fields that overlap, and count the pieces they share once",
    )
    what = parser.add_argument_group("what to write")
    what.add_argument("--batch", default="", metavar="NAME", help="batch the pictures belong to")
    what.add_argument("--out", metavar="DIR", help="folder for particles.csv, fields.csv and sizes.json")
    what.add_argument(
        "--overlays", action="store_true", help="also draw the outlines over each picture (DIR/overlays)"
    )
    what.add_argument("--study", metavar="FILE", help="also keep everything in this study")
    what.add_argument("--json", action="store_true", help="print one JSON object")
    work = parser.add_argument_group("where to work")
    work.add_argument(
        "--jobs", type=whole, metavar="N", help="processes (default: as many as cores and memory allow)"
    )
    work.add_argument("--cluster", metavar="ADDRESS", help="work on a dask.distributed cluster instead")


def run(args: argparse.Namespace) -> int:
    """Measure, write and say what was found."""
    from app.cli import measure_run

    return measure_run.run(args)
