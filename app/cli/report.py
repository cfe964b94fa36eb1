"""``gritline report``: a study as one PDF that stands alone."""

import argparse

from measure.errors import InvalidInput


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument("study", metavar="STUDY", help="study file (.gritline)")
    parser.add_argument("--out", metavar="FILE.pdf", required=True, help="file to write")
    parser.add_argument(
        "--sections", metavar="NAMES", default="",
        help="sections wanted, separated by commas (all by default): answer, record, scale, fields, sizes, "
        "verdict, compare, tasting, check, method, settings, edits, files, cautions",
    )  # fmt: skip
    parser.add_argument(
        "--batch", action="append", metavar="NAME", help="this batch only; may be given several times"
    )
    parser.add_argument("--title", metavar="WORDS", default="", help="heading; the recipe by default")


def run(args: argparse.Namespace) -> int:
    """Write the report and name the file.

    Raises
    ------
    InvalidInput
        If an option, the study or the file to write cannot be used.
    """
    from pathlib import Path

    from app.cli.options import say
    from measure.output.report import write_report
    from measure.safe_write import check_folder_place
    from measure.study.study import Study

    path = Path(args.out)
    if path.suffix.lower() != ".pdf":
        raise InvalidInput(f"--out {args.out}: a report is a PDF, so give it a name that ends in .pdf.")
    check_folder_place(path.parent)
    sections = [name.strip() for name in args.sections.split(",") if name.strip()]
    with Study.open(args.study, read_only=True) as study:
        write_report(path, study, sections=sections, batches=args.batch or (), title=args.title)
    say(str(path))
    return 0
