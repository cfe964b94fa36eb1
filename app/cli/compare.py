"""``gritline compare``: batches side by side, and what more grinding would bring."""

import argparse
import math
from typing import TYPE_CHECKING

from app.cli.options import positive
from app.cli.plan import FIGURES as FIGURES_TYPED
from measure.errors import InvalidInput

if TYPE_CHECKING:
    from measure.judge.compare import Comparison
    from measure.judge.felt import FeltProfile
    from measure.judge.grind import GrindCurve
    from measure.judge.grind_forecast import Forecast


_NO_CURVE = (
    "No grind curve: it is not known how long each batch was ground; say so with --at, as in --at 1,3."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument(
        "tables", nargs="+", metavar="TABLE.csv",
        help="particle tables, one a batch or with a column 'batch'; or a study (.gritline)",
    )  # fmt: skip
    parser.add_argument(
        "--figure", metavar="F", default="volume.x90_um",
        help="figure the sentences and the grind curve are about, such as x50,3 or D[4,3] (default "
        "volume.x90_um)",
    )  # fmt: skip
    parser.add_argument(
        "--pairs", choices=("all", "first", "next"), default="all",
        help="all pairs, each against the first, or each against the one before",
    )  # fmt: skip
    parser.add_argument(
        "--common-range", action="store_true", help="leave out pieces below the largest lower limit of all"
    )
    parser.add_argument(
        "--same-fields", action="store_true",
        help="two tables of the same fields by two people: how far they agree",
    )  # fmt: skip
    grind = parser.add_argument_group("grind curve")
    grind.add_argument(
        "--at", metavar="DOSES", help="passes, minutes or energy of each batch in their order, as 1,3,6"
    )
    grind.add_argument("--unit", default="passes", help="of the doses: passes, minutes, kWh/t ...")
    grind.add_argument("--target-um", type=positive, metavar="X", help="size to reach, in µm")
    grind.add_argument("--target-felt", type=positive, metavar="P", help="felt share to reach, in per cent")
    grind.add_argument(
        "--step", type=positive, default=1.0, metavar="S", help="dose added at once (default 1)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Compare, and fit the grind curve where doses are known; 1 when a caution forbids a plain reading."""
    if args.same_fields:
        return _agreement(args)
    from measure.judge.compare import FIGURES, compare_batches
    from measure.judge.compare_batches import limits_differ
    from measure.output.study_batches import read_batches

    args.figure = FIGURES_TYPED.get(args.figure, args.figure)
    batches = read_batches(args.tables)
    figures = (args.figure, *(f for f in FIGURES if f != args.figure))
    found = compare_batches(
        batches, figures=figures, pairing=args.pairs, common_range=args.common_range, profile=_profile(args)
    )
    curve = _curve(args, found)
    answer = _forecast(args, curve)
    _print(args, found, curve, answer)
    return 1 if limits_differ(found.batches) else 0


def _profile(args: argparse.Namespace) -> "FeltProfile | None":
    """Return the felt profile of the only study given, else None."""
    from measure.output.run_sizes import felt_profile
    from measure.output.study_batches import STUDY_SUFFIX
    from measure.study.study import Study

    studies = [p for p in args.tables if p.lower().endswith(STUDY_SUFFIX)]
    if len(studies) != 1:
        return None
    with Study.open(studies[0], read_only=True) as study:
        return felt_profile(study)


def _curve(args: argparse.Namespace, found: "Comparison") -> "GrindCurve | None":
    from measure.judge.grind import GrindPoint, fit_grind

    doses = _doses(args, found.batches)
    wanted = args.at or args.target_um or args.target_felt
    if doses is None or (len(set(doses)) < 2 and not wanted):
        if wanted:
            raise InvalidInput("It is not known how long the batches were ground; say so with --at.")
        return None
    points = []
    for dose, batch, summary, verdict in zip(
        doses, found.batches, found.summaries, found.verdicts, strict=True
    ):
        value, (low, high) = summary.value(args.figure), summary.interval(args.figure)
        if args.target_felt:
            value, low, high = verdict.share, verdict.low, verdict.high
        points.append(GrindPoint(dose, value, low, high, batch.name))
    return fit_grind(points, unit=args.unit, is_share=bool(args.target_felt))


def _doses(args: argparse.Namespace, batches: tuple) -> list[float] | None:
    if args.at:
        try:
            doses = [float(part) for part in args.at.replace(";", ",").split(",")]
        except ValueError:
            doses = [math.nan]
        if not all(math.isfinite(d) for d in doses):
            raise InvalidInput(f"--at '{args.at}' is not a list of numbers such as 1,3,6.")
        if len(doses) != len(batches):
            names = ", ".join(b.name for b in batches)
            raise InvalidInput(f"--at needs one number for each of the {len(batches)} batches: {names}.")
        return doses
    if args.unit not in {"passes", "minutes"}:
        return None
    doses = [getattr(b, args.unit) for b in batches]
    return None if any(d is None for d in doses) else doses


def _forecast(args: argparse.Namespace, curve: "GrindCurve | None") -> "Forecast | None":
    from measure.judge.grind_forecast import forecast

    if args.target_um and args.target_felt:
        raise InvalidInput("Give --target-um or --target-felt, not both.")
    if curve is None:  # only where no target is asked for
        return None
    if args.target_um:
        return forecast(curve, args.target_um)
    return forecast(curve, args.target_felt / 100) if args.target_felt else None


def _print(
    args: argparse.Namespace, found: "Comparison", curve: "GrindCurve | None", answer: "Forecast | None"
) -> None:
    from app.cli.options import print_json, say, warn
    from measure.output.compare_json import comparison_json, comparison_lines, grind_json, grind_lines

    if args.json:
        grind = None if curve is None else grind_json(curve, answer, args.step)
        print_json({**comparison_json(found, args.figure), "grind": grind})
        return
    for line in comparison_lines(found, args.figure):
        say(line)
    for line in grind_lines(curve, answer, args.step) if curve is not None else (_NO_CURVE,):
        say(line)
    for path in dict.fromkeys(p for p in args.tables if args.tables.count(p) > 1):
        warn(f"{path} is given twice, so it is compared with itself.")
    for sentence in (*found.warnings, *(curve.warnings if curve is not None else ())):
        warn(sentence)


def _agreement(args: argparse.Namespace) -> int:
    from app.cli.options import print_json, say
    from measure.judge.agreement import compare_tables
    from measure.judge.agreement_words import agreement_json, agreement_lines
    from measure.sizes.table_file import read_sizes_table

    if len(args.tables) != 2:
        raise InvalidInput(f"--same-fields needs two tables of the same fields, not {len(args.tables)}.")
    found = compare_tables(*(read_sizes_table(path) for path in args.tables))
    if args.json:
        print_json(agreement_json(found))
    else:
        for line in agreement_lines(found):
            say(line)
    return 0
