"""``gritline sizes``: the size distribution of a particle table, with intervals and verdict."""

import argparse
import math
from collections.abc import Mapping

from app.cli.options import point_hint, whole
from measure.errors import InvalidInput

_FEWEST_RESAMPLES = 20  # with fewer no interval is worked out


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "table", metavar="TABLE.csv", help="particle table, or any table of sizes (CSV, XLSX or Parquet)"
    )
    parser.add_argument("--kind", metavar="K", help="this kind only: kernel, skin, salt or other")
    parser.add_argument(
        "--smallest-um", metavar="D", help="leave out pieces below this area-equivalent diameter, µm"
    )
    parser.add_argument(
        "--above-um",
        metavar="X",
        help="also say how many pieces are above this size, with exact limits",
    )
    optics = parser.add_mutually_exclusive_group()
    optics.add_argument(
        "--na",
        metavar="NA",
        help="numerical aperture of the objective, to tell sizes too small for it",
    )
    optics.add_argument(
        "--scale", metavar="FILE", help="scale file that knows it, written by: gritline scale --na NA --out"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--resamples", type=whole, default=1000, metavar="N", help="resampled batches behind the intervals"
    )


def run(args: argparse.Namespace) -> int:
    """Read, summarise, print.

    Raises
    ------
    InvalidInput
        If the table or an option cannot be used.
    """
    from dataclasses import asdict, replace

    from app.cli.options import print_json, say
    from measure.judge.sizes_json import sizes_json, sizes_lines
    from measure.judge.verdict import judged
    from measure.sizes.above import pieces_above
    from measure.sizes.sample import sample_from_table
    from measure.sizes.table_file import read_sizes_table

    limit, above = _limit(args.smallest_um), _limit(args.above_um, "--above-um")
    if args.resamples and not _FEWEST_RESAMPLES <= args.resamples <= 100_000:
        raise InvalidInput(
            f"--resamples {args.resamples} is out of range; use {_FEWEST_RESAMPLES} to 100000, 1000 as a "
            "rule, or 0 for no intervals."
        )
    resolved = _resolved_um(args)
    table = read_sizes_table(args.table)
    sample = sample_from_table(table, smallest_um=limit, kind=args.kind)
    if resolved is not None:
        sample = replace(sample, resolved_um=resolved)
    if len(sample) == 0:
        raise InvalidInput(_nothing_left(args, sample.left_out))
    summary, verdict = judged(sample, resamples=args.resamples)
    coarse = pieces_above(sample, above) if above is not None else None
    if args.json:
        shown = {} if coarse is None else {"above": asdict(coarse)}
        print_json(sizes_json(summary, verdict) | shown)
        return 0
    lines = sizes_lines(summary, verdict)
    if coarse is not None:
        lines[-2:-2] = ["", coarse.words]
    for line in lines:
        say(line)
    return 0


def _limit(text: str | None, name: str = "--smallest-um") -> float | None:
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise InvalidInput(f"{name} '{text}' is not a size above 0 µm{point_hint(text)}.")
    return value


def _resolved_um(args: argparse.Namespace) -> float | None:
    """Return the size below which the objective blurs pieces; None where it is not known."""
    from measure.scale.optics import smallest_resolved_um
    from measure.scale.scale_file import read_aperture

    if args.scale is not None:
        na = read_aperture(args.scale)
        return None if na is None else smallest_resolved_um(na)
    if args.na is None:
        return None
    try:
        typed = float(args.na)
    except ValueError:
        raise InvalidInput(f"--na '{args.na}' is no number.") from None
    return smallest_resolved_um(typed)


def _nothing_left(args: argparse.Namespace, left_out: Mapping[str, int]) -> str:
    of_kind = f" of kind '{args.kind}'" if args.kind else ""
    from measure.flags import reason_words

    reasons = ", ".join(f"{number} {reason_words(reason)}" for reason, number in left_out.items())
    because = f" ({reasons} left out)" if reasons else ""
    return f"'{args.table}' has no counted piece{of_kind}{because}, so there are no sizes."
