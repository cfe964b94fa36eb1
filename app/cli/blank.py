"""``gritline blank``: the light of the oil worked out from several fields, as a picture of blank oil."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from app.cli.made_picture import add_pictures

    add_pictures(parser, "picture of the oil alone to write, for: gritline measure --blank")
    parser.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="X0,Y0,X1,Y1",
        help="leave out this rectangle (px) of every picture, such as a burnt-in bar; may be repeated",
    )


def run(args: argparse.Namespace) -> int:
    """Work the light out and write it.

    Raises
    ------
    InvalidInput
        If there are too few fields, or they show one place.
    """
    from app.cli.exclude import zones_of
    from app.cli.made_picture import paths_of, read_each, said, write_made
    from measure.field.ground.blank import blank_from_fields

    made = blank_from_fields(read_each(paths_of(args)), zones=zones_of(args.exclude))
    write_made(args.out, made.pixels, f"Light of the oil, worked out from {', '.join(made.fields)}")
    values = {
        "fields": list(made.fields),
        "unevenness": made.unevenness,
        "spread": made.spread,
        "seen_share": made.seen_share,
        "fixed_share": made.fixed_share,
    }
    said(
        args,
        values,
        f"Light of the oil from {len(made.fields)} fields: it varies by {100 * made.unevenness:.0f} % "
        f"over the picture, single fields lie within {100 * made.spread:.1f} % of it.",
        f"{100 * made.seen_share:.0f} % of the picture shows bare oil in two fields or more; the rest is "
        "filled in.",
    )
    return 0
