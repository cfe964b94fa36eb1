"""``gritline join``: overlapping fields of one slide joined into one wide field."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from app.cli.made_picture import add_pictures

    add_pictures(parser, "wide field to write; measure leaves out what none of the fields shows")


def run(args: argparse.Namespace) -> int:
    """Join and write.

    Raises
    ------
    InvalidInput
        If a field overlaps none of the others.
    """
    from app.cli.made_picture import paths_of, read_each, said, write_made
    from measure.field.several.stitch import join_fields

    pictures = list(read_each(paths_of(args)))
    wide = join_fields(pictures)
    names = ", ".join(picture.name for picture in pictures)
    checked = wide.residual_px == wide.residual_px
    agree = f"; overlaps agree within {wide.residual_px:.2f} px" if checked else ""
    write_made(args.out, wide.pixels, f"Joined from {names}{agree}", wide.zones)
    height, width = wide.pixels.shape[:2]
    values = {
        "fields": [picture.name for picture in pictures],
        "width_px": width,
        "height_px": height,
        "matrices": [matrix.tolist() for matrix in wide.matrices],
        "residual_px": wide.residual_px,
        "left_out_px": [zone.tolist() for zone in wide.zones],
    }
    said(args, values, f"{len(pictures)} fields joined into one of {width} x {height} px{agree}.")
    return 0
