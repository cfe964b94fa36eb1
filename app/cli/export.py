"""``gritline export``: a study's tables, outlines, label images and charts to a folder."""

import argparse

# formats that may have nothing to hold, and how their files end
_OF_PICTURES = {"geojson": ".geojson", "labels": ".tif"}
_OF_PIECES = {"svg": ".svg", "png": ".png"}
_FORMATS = ("csv", "xlsx", "parquet", "json", "coco", "geojson", "labels", "svg", "png")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument("study", metavar="STUDY", help="study file (.gritline)")
    parser.add_argument("--out", metavar="DIR", required=True, help="folder to write to")
    parser.add_argument(
        "--format", action="append", choices=_FORMATS, metavar="NAME",
        help=f"{', '.join(_FORMATS)}; may be given several times (default: csv and xlsx)",
    )  # fmt: skip
    parser.add_argument("--decimal-comma", action="store_true", help="CSV with decimal comma and semicolons")


def run(args: argparse.Namespace) -> int:
    """Write the tables and name the files."""
    from app.cli.options import say, warn
    from measure.output.export import export_study
    from measure.safe_write import check_folder_place
    from measure.study.study import Study

    folder = check_folder_place(args.out)
    delimiter, decimal = (";", ",") if args.decimal_comma else (",", ".")
    formats = tuple(args.format or ("csv", "xlsx"))
    with Study.open(args.study, read_only=True) as study:
        written = export_study(study, folder, formats, delimiter=delimiter, decimal=decimal)
    for path in written:
        say(str(path))
    for name in formats:
        ending = _OF_PICTURES.get(name) or _OF_PIECES.get(name)
        if ending and not any(path.suffix == ending for path in written):
            what = "no field of this study has a picture" if name in _OF_PICTURES else "no piece is counted"
            warn(f"--format {name}: nothing is written, for {what}.")
    return 0
