"""``gritline panel``: tasting papers, power before you start, and the statistics afterwards."""

import argparse
import json
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from app.cli.options import positive, share, whole
from measure.errors import InvalidInput

if TYPE_CHECKING:
    from measure.judge.panel_session import PanelSample
    from measure.study.study import Study

_T = TypeVar("_T")
_METHODS = ("triangle", "paired", "ranking", "series", "scale")
_SEEDS = 999_999
_MOST_TRIALS = 100_000
_TESTS = ("triangle", "paired", "3-afc", "duo-trio", "tetrad")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    _plan_arguments(actions.add_parser("plan", help="worksheets, key and answer table of a blind session"))
    _power_arguments(actions.add_parser("power", help="answers needed, or the power of a number of answers"))
    _result_arguments(actions.add_parser("result", help="statistics from counts, a table or a plan"))


def _plan_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("method", choices=_METHODS, help="kind of session")
    parser.add_argument(
        "--sample", action="append", required=True, metavar="NAME[=UM]",
        help="a sample, with its x_90,3 in µm where known; once for each, in the order of the method",
    )  # fmt: skip
    parser.add_argument("--assessors", required=True, metavar="N|NAMES", help="a number, or names as A,B,C")
    parser.add_argument("--rounds", type=whole, default=1, metavar="R", help="times each assessor repeats it")
    parser.add_argument(
        "--seed", type=whole, help="the same seed gives the same plan (without it, one is drawn)"
    )
    parser.add_argument("--alpha", type=positive, default=0.05, help="risk of a false difference")
    parser.add_argument("--similar", type=share, metavar="P", help="ask for similarity within this share")
    parser.add_argument("--name", default="", help="of the session")
    parser.add_argument(
        "--study", metavar="FILE", help="also keep the session in this study, and take sizes from it"
    )
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for the papers")


def _power_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("test", choices=_TESTS)
    parser.add_argument(
        "--discriminators", type=share, required=True, metavar="P",
        help="share of people who really tell the samples apart, 0 to 1",
    )  # fmt: skip
    parser.add_argument("--trials", type=whole, metavar="N", help="say the power of so many answers")
    parser.add_argument("--alpha", type=positive, default=0.05, help="risk of a false difference (0.05)")
    parser.add_argument("--power", type=share, default=0.8, help="wanted power")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def _result_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("test", nargs="?", choices=(*_TESTS, "ranking", "series", "curve"))
    parser.add_argument("--trials", type=whole, metavar="N", help="answers given")
    parser.add_argument("--correct", type=whole, metavar="K", help="right ones among them")
    parser.add_argument("--alpha", type=positive, default=0.05, help="risk of a false difference (0.05)")
    parser.add_argument("--two-sided", action="store_true", help="paired, without an expected direction")
    parser.add_argument("--similar", type=share, metavar="P", help="similarity within this share")
    parser.add_argument(
        "--csv",
        metavar="FILE",
        help="table: answers of a plan; a row an assessor, named in the first column (ranking: then a column "
        "of ranks for each sample; series: then one of 0 and 1 for each size, headed by it); curve: size_um, "
        "trials, correct",
    )
    parser.add_argument("--plan", metavar="FILE", help="plan.json of the session the answers belong to")
    parser.add_argument("--guess", type=share, default=1 / 3, help="chance of guessing right (curve)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Do the action asked for."""
    return {"plan": _plan, "power": _power, "result": _result}[args.action](args)


def _plan(args: argparse.Namespace) -> int:
    from contextlib import nullcontext

    from app.cli.options import say
    from measure.judge.panel_session import make_plan
    from measure.judge.serving import CAUTIONS
    from measure.output.panel_files import write_papers
    from measure.safe_write import make_folder
    from measure.study.records import Tasting
    from measure.study.study import Study

    samples = [_sample(text) for text in args.sample]
    with Study.open(args.study) if args.study else nullcontext() as study:
        samples = samples if study is None else _from_study(study, samples)
        seed = 1 + secrets.randbelow(_SEEDS) if args.seed is None else args.seed
        plan = make_plan(
            args.method, samples, _assessors(args.assessors), rounds=args.rounds, seed=seed,
            alpha=args.alpha, similarity=args.similar,
        )  # fmt: skip
        _refuse_other_papers(Path(args.out))
        paths = write_papers(make_folder(args.out), plan, args.name)
        if study is not None:
            used = tuple(s.batch_id for s in plan.samples if s.batch_id is not None)
            study.add_tasting(Tasting(args.method, used, args.name, plan.to_json(), {"answers": {}}))
    for path in paths:
        say(str(path))
    for caution in CAUTIONS:
        say(f"- {caution}")
    return 0


def _refuse_other_papers(folder: Path) -> None:
    """Refuse a folder with the papers of a session: its key and the answers typed so far would be lost."""
    held = next((name for name in ("plan.json", "answers.csv") if (folder / name).exists()), None)
    if held is not None:
        raise InvalidInput(
            f"--out {folder} holds the papers of a session already ({held}); name another folder."
        )


def _from_study(study: "Study", samples: "list[PanelSample]") -> "list[PanelSample]":
    """Fill in what the study knows of samples named like its batches; a size given by hand stays."""
    from dataclasses import replace

    from measure.judge.panel_session import sample_of_batch
    from measure.output.run_sizes import felt_profile
    from measure.output.study_batches import study_batches

    ids = {row.batch.name: row.id for row in study.batches()}
    profile = felt_profile(study)
    known = {
        b.name: sample_of_batch(b.name, ids.get(b.name), b.sample, profile) for b in study_batches(study)
    }
    found = []
    for sample in samples:
        batch = known.get(sample.name, replace(sample, batch_id=ids.get(sample.name)))
        found.append(replace(batch, size_um=sample.size_um) if sample.size_um > 0 else batch)
    return found


def _sample(text: str) -> "PanelSample":
    from measure.judge.panel_session import PanelSample

    name, mark, size = text.rpartition("=")
    if not mark:
        return PanelSample(text.strip())
    try:
        value = float(size)
    except ValueError:
        value = -1.0
    if not 0 < value < float("inf"):
        raise InvalidInput(f"--sample '{text}': '{size}' is not a size in µm.")
    return PanelSample(name.strip(), size_um=value)


def _assessors(text: str) -> list[str]:
    if text.strip().isdigit():
        count = int(text)
        if not 1 <= count <= 500:
            raise InvalidInput(f"--assessors {count} is out of range; 1 to 500.")
        return [f"Assessor {i}" for i in range(1, count + 1)]
    try:
        float(text)
    except ValueError:
        pass
    else:
        raise InvalidInput(f"--assessors {text} is no number of people; give a whole one, or names as A,B,C.")
    return [name.strip() for name in text.split(",")]


def _power(args: argparse.Namespace) -> int:
    from app.cli.options import print_json, say
    from measure.judge.discrimination import fewest_correct, power, trials_needed

    if not args.alpha < 0.5:
        raise InvalidInput(f"--alpha {args.alpha:g} is no risk of a false difference; use 0.05 as a rule.")
    if not 0 < args.power < 1:
        raise InvalidInput(f"--power {args.power:g} cannot be reached; give a share such as 0.8.")
    if args.trials is None:
        trials = trials_needed(args.test, args.discriminators, alpha=args.alpha, wanted_power=args.power)
    else:
        trials = args.trials
        if not 1 <= trials <= _MOST_TRIALS:
            raise InvalidInput(f"--trials {trials} is out of range; 1 to {_MOST_TRIALS} answers.")
    found = power(args.test, trials, args.discriminators, alpha=args.alpha)
    needed = fewest_correct(args.test, trials, alpha=args.alpha)
    if args.json:
        print_json({"test": args.test, "trials": trials, "power": found, "needed": needed})
        return 0
    say(
        f"{trials} answers find a difference that {100 * args.discriminators:g} % perceive with a power of "
        f"{100 * found:.0f} %; {needed} right are needed at {100 * args.alpha:g} %."
    )
    return 0


def _result(args: argparse.Namespace) -> int:
    from app.cli.options import print_json, say, warn
    from measure.output import panel_results

    if args.plan:
        report = panel_results.of_plan(_read_json(args.plan), _need(args.csv, "--csv"))
    elif args.test in {"ranking", "series", "curve"}:
        rule = {
            "ranking": panel_results.of_ranking,
            "series": panel_results.of_series,
            "curve": lambda path: panel_results.of_curve(path, args.guess),
        }[args.test]
        report = rule(_need(args.csv, "--csv"))
    elif args.test:
        report = panel_results.of_counts(
            args.test, _need(args.trials, "--trials"), _need(args.correct, "--correct"),
            alpha=args.alpha, two_sided=args.two_sided, similarity=args.similar,
        )  # fmt: skip
    else:
        raise InvalidInput("Name a test, such as triangle, or give --plan and --csv.")
    if args.json:
        print_json(report.values)
        return 0
    for line in report.lines:
        say(line)
    for sentence in report.warnings:
        warn(sentence)
    return 0


def _need(value: _T | None, option: str) -> _T:
    if value is None:
        raise InvalidInput(f"This needs {option}.")
    return value


def _read_json(path: str) -> dict:
    try:
        plain = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InvalidInput(f"'{path}' cannot be read as a plan; use the plan.json of the session.") from error
    if not isinstance(plain, dict):
        raise InvalidInput(f"'{path}' is no plan; use the plan.json of the session.")
    return plain
