"""``gritline import``: a particle table into a study, as a batch without pictures."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("table", metavar="TABLE.csv", help="particle table, or any table of sizes")
    parser.add_argument("--study", metavar="FILE", required=True, help="study to take it into (.gritline)")
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
    from app.cli.options import say
    from measure.output.table_import import take_in
    from measure.output.table_source import read_table
    from measure.study.study import Study

    source = read_table(args.table, args.fields)
    with Study.open(args.study) as study:
        taken = take_in(study, source, args.batch.strip())
    say(taken.words)
    for note in taken.notes:
        say(note)
    return 0
