"""``gritline fuse``: pictures of one field at several heights of focus made into one sharp picture."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from app.cli.made_picture import add_pictures

    add_pictures(parser, "sharp picture to write; the scale of the pictures holds for it")


def run(args: argparse.Namespace) -> int:
    """Fuse and write.

    Raises
    ------
    InvalidInput
        If the pictures do not show one field.
    """
    from app.cli.made_picture import paths_of, read_each, said, write_made
    from measure.field.several.fuse import fuse_stack

    pictures = list(read_each(paths_of(args)))
    fused = fuse_stack(pictures)
    names, reference = ", ".join(picture.name for picture in pictures), pictures[fused.reference].name
    write_made(args.out, fused.pixels, f"Fused from {names}, laid on {reference}, which kept its scale")
    shares = [float((fused.chosen == place).mean()) for place in range(len(pictures))]
    values = {
        "pictures": [picture.name for picture in pictures],
        "reference": reference,
        "growth": list(fused.growth),
        "share_of_each": shares,
    }
    said(args, values, f"{len(pictures)} pictures fused, laid on {reference}, which kept its scale.")
    return 0
