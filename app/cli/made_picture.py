"""What commands share that make one picture of several: reading them, and a PNG that says how."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.options import refuse, say

if TYPE_CHECKING:
    import numpy as np

    from measure.model import Picture


def add_pictures(parser: argparse.ArgumentParser, out: str) -> None:
    """Declare the pictures and the file to write."""
    parser.add_argument(
        "pictures", nargs="+", metavar="IMAGE|FOLDER", help="pictures, or folders of pictures"
    )
    parser.add_argument("--out", metavar="FILE.png", required=True, help=out)
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def paths_of(args: argparse.Namespace) -> list[Path]:
    """Return the pictures named, and refuse an output that is no PNG or one of them.

    Raises
    ------
    InvalidInput
        If nothing is there, or the output cannot be.
    """
    from measure.picture_file import list_pictures

    paths = [path for given in args.pictures for path in list_pictures(given)]
    out = Path(args.out)
    refuse(out.suffix.lower() != ".png", f"--out {out} must end in .png; other formats would lose detail.")
    refuse(not out.parent.is_dir(), f"--out {out}: the folder {out.parent} is not there; make it first.")
    refuse(
        any(out.resolve() == path.resolve() for path in paths),
        f"--out {out} is one of the pictures; choose another name.",
    )
    places = [path.resolve() for path in paths]
    twice = next((path for path, place in zip(paths, places, strict=True) if places.count(place) > 1), None)
    refuse(twice is not None, f"{twice} is given twice; give each picture once.")
    return paths


def read_each(paths: Sequence[Path]) -> "Iterator[Picture]":
    """Yield the pictures one by one."""
    from measure.picture_file import read_picture

    for path in paths:
        yield read_picture(path)


def write_made(out: str, pixels: "np.ndarray", words: str, zones: Sequence["np.ndarray"] = ()) -> None:
    """Write a made picture with the words how it was made, and the areas nobody pictured."""
    from measure.picture_png import encode_png, left_out_words
    from measure.safe_write import written_beside

    left_out = left_out_words(zones, pixels.shape[1], pixels.shape[0])
    data = encode_png(pixels, {"Description": words, "Software": "Gritline", **left_out})
    with written_beside(out) as beside:
        beside.write_bytes(data)


def said(args: argparse.Namespace, values: dict, *lines: str) -> None:
    """Print the values as JSON when asked for, else the lines."""
    from app.cli.options import print_json

    if args.json:
        print_json({"out": args.out, **values})
    else:
        for line in (*lines, f"Written: {args.out}"):
            say(line)
