"""``gritline import``: a particle table into a study, as a batch without pictures."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "table", metavar="TABLE.csv", help="particle table, or any table of sizes (CSV, XLSX or Parquet)"
    )
    parser.add_argument(
        "--study", metavar="FILE", required=True,
        help="study to take it into (.gritline); made where there is none",
    )  # fmt: skip
    parser.add_argument(
        "--batch", metavar="NAME", default="", help="one new batch of this name (default: the table's own)"
    )
    parser.add_argument(
        "--fields", metavar="FILE", help="table of its fields (default: a fields.csv beside it that fits)"
    )


def run(args: argparse.Namespace) -> int:
    """Read the table whole, then take it in.

    Raises
    ------
    InvalidInput
        If the table or the study cannot be used; nothing is written then.
    """
    import contextlib
    from pathlib import Path

    from app.cli.options import say
    from measure.output.table_import import take_in
    from measure.output.table_source import read_table
    from measure.study.study import Study

    source = read_table(args.table, args.fields)
    path = Path(args.study)
    there = path.exists()
    try:
        with Study.open(path) if there else Study.create(path) as study:
            study.refuse_damaged()
            taken = take_in(study, source, args.batch.strip())
    except BaseException:
        if not there:
            with contextlib.suppress(OSError):  # where nothing can be written nothing can be taken away
                path.unlink(missing_ok=True)
        raise
    say(taken.words if there else f"{taken.words} The study is new.")
    for note in taken.notes:
        say(note)
    return 0
