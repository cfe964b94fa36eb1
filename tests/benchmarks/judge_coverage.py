"""How often intervals of comparisons, forecasts and panel thresholds hold the truth, on simulated studies.

Run ``python tests/benchmarks/judge_coverage.py [REPEATS]`` (200 by default, a few minutes on one core).
Targets: intervals that are meant to cover with 95 % do so in 90 to 98 % where the data can tell; forecasts
with few batches may cover more, because they also hold the doubt about the law. "Not reachable" is said when
the plateau lies above the target. Thresholds of 200 panels are unbiased within 5 %.
"""

import math
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.judge.compare import compare_batches
from measure.judge.compare_batches import BatchSizes
from measure.judge.grind import GrindPoint, fit_grind
from measure.judge.grind_forecast import forecast
from measure.judge.psychometric import fit_psychometric
from measure.sizes.sample import make_sample

FIGURES = ("volume.x90_um", "volume.x50_um", "number.x50_um", "means_um.D[4,3]")
SIGMA = math.log(1.45)


def batch(rng: np.random.Generator, name: str, median_um: float, fields: int, pieces: int) -> BatchSizes:
    """Draw a batch: log-normal pieces, fields that differ by 5 %, numbers a field by Poisson."""
    sizes, codes = [], []
    for field in range(fields):
        count = max(int(rng.poisson(pieces)), 1)
        middle = median_um * math.exp(0.05 * rng.standard_normal())
        sizes.append(middle * np.exp(SIGMA * rng.standard_normal(count)))
        codes.append(np.full(count, field))
    names = [str(i) for i in range(fields)]
    sample = make_sample(
        np.concatenate(sizes), field=np.concatenate(codes), field_names=names, smallest_um=0.1
    )
    return BatchSizes(name, sample, "one scale")


def ratios(repeats: int) -> None:
    """Print the coverage of the ratio of two batches, and of all three pairs of three together."""
    print("\nratio of two batches, truth 1.6: coverage of the 95 % interval, median width (high / low)")
    print(f"{'fields':>6} {'pieces':>7}  " + "  ".join(f"{f:>18}" for f in FIGURES))
    for fields, pieces in ((3, 100), (6, 100), (6, 400), (12, 200)):
        rng = np.random.default_rng(100 * fields + pieces)
        inside, widths = dict.fromkeys(FIGURES, 0), {f: [] for f in FIGURES}
        for seed in range(repeats):
            pair = [batch(rng, "a", 24.0, fields, pieces), batch(rng, "b", 15.0, fields, pieces)]
            found = compare_batches(pair, figures=FIGURES, by_kind=False, resamples=300, seed=seed)
            for row in found.ratios:
                inside[row.figure] += row.low <= 1.6 <= row.high
                widths[row.figure].append(row.high / row.low)
        cells = [f"{100 * inside[f] / repeats:6.1f} % {np.median(widths[f]):8.2f}x" for f in FIGURES]
        print(f"{fields:6} {pieces:7}  " + "  ".join(f"{c:>18}" for c in cells), flush=True)
    together(repeats)


def together(repeats: int) -> None:
    """Print how often all three pairs of three batches hold at once."""
    rng = np.random.default_rng(5)
    truth = {("a", "b"): 1.6, ("a", "c"): 2.4, ("b", "c"): 1.5}
    held = dict.fromkeys(FIGURES, 0)
    for seed in range(repeats):
        three = [batch(rng, n, m, 6, 150) for n, m in (("a", 24.0), ("b", 15.0), ("c", 10.0))]
        found = compare_batches(three, figures=FIGURES, by_kind=False, resamples=300, seed=seed)
        for figure in FIGURES:
            rows = [r for r in found.ratios if r.figure == figure]
            held[figure] += all(r.low <= truth[r.first, r.second] <= r.high for r in rows)
    cells = ", ".join(f"{f} {100 * held[f] / repeats:.1f} %" for f in FIGURES)
    print(f"three batches, 6 fields of 150: all three pairs hold together in {cells} (meant: 95 % or more)")


def rittinger(t: float) -> float:
    """Return a mill of constant power: 120 um at 0, no plateau."""
    return 1 / (1 / 120 + 0.003 * t)


def plateau(t: float) -> float:
    """Return a mill that levels off at 18 um."""
    return 18 + 102 * math.exp(-0.45 * t)


def points(
    law: Callable[[float], float], doses: Sequence[float], sd: float, rng: np.random.Generator
) -> list:
    """Draw one study: a figure a batch, with intervals of the true width."""
    found = []
    for dose in doses:
        value = law(dose) * math.exp(sd * rng.standard_normal())
        found.append(GrindPoint(dose, value, value * math.exp(-1.96 * sd), value * math.exp(1.96 * sd)))
    return found


def forecasts(repeats: int) -> None:
    """Print the coverage of forecasts and what is said about reaching a target."""
    cases = (
        ("constant power, to 25 um", rittinger, 25.0, (1 / 25 - 1 / 120) / 0.003),
        ("plateau at 18, to 20 um", plateau, 20.0, -math.log(2 / 102) / 0.45),
        ("plateau at 18, to 14 um", plateau, 14.0, math.inf),
    )
    short, long_ = (1, 2, 3, 4, 6, 8), (1, 2, 3, 4, 6, 8, 10, 12, 15)
    print("\nforecast of passes: coverage of the 95 % interval, and the words used")
    print(f"{'mill and target':26} {'passes measured':28} {'error':>6} {'covers':>8}   said")
    for name, law, target, truth in cases:
        for doses in ((1, 3, 6), (1, 2, 3, 5, 7), short, long_):
            for sd in (0.03, 0.06):
                rng = np.random.default_rng(len(doses))
                inside, said = 0, {"not reachable": 0, "probably not": 0, "not certain": 0, "reachable": 0}
                for seed in range(repeats):
                    found = forecast(fit_grind(points(law, doses, sd, rng), draws=400, seed=seed), target)
                    inside += found.low <= truth <= found.high
                    said[words(found)] += 1
                text = ", ".join(f"{k} {100 * v / repeats:.0f} %" for k, v in said.items() if v)
                measured = ",".join(map(str, doses))
                print(
                    f"{name:26} {measured:28} {sd:6.0%} {100 * inside / repeats:6.1f} %   {text}", flush=True
                )


def words(found: object) -> str:
    """Return the class of a forecast's sentence."""
    if found.reachable is False:
        return "not reachable"
    if math.isinf(found.dose):
        return "probably not"
    return "reachable" if found.reachable else "not certain"


def thresholds(panels: int = 200) -> None:
    """Print bias and coverage of fitted thresholds of ascending 3-AFC series, truth 40 um."""
    sizes = np.array([15.0, 22.0, 32.0, 46.0, 68.0, 100.0])
    print("\nthreshold of a panel, truth 40 um, 3-AFC over six sizes, slips 2 %")
    print(f"{'assessors':>9} {'slope':>6} {'bias':>8} {'spread':>8} {'covers':>8}")
    for people in (12, 24, 48):
        for slope in (3.0, 6.0):
            rng = np.random.default_rng(people)
            chance = 1 / 3 + (1 - 1 / 3 - 0.02) / (1 + (sizes / 40) ** -slope)
            logs, inside = [], 0
            for seed in range(panels):
                right = rng.binomial(people, chance)
                fit = fit_psychometric(sizes, [people] * 6, right, guess=1 / 3, refits=200, seed=seed)
                logs.append(math.log(fit.threshold / 40))
                inside += fit.threshold_low <= 40 <= fit.threshold_high
            bias, spread = math.expm1(np.mean(logs)), math.expm1(np.std(logs))
            print(f"{people:9} {slope:6.1f} {bias:8.1%} {spread:8.1%} {inside / panels:8.1%}", flush=True)


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    ratios(wanted)
    forecasts(wanted)
    thresholds()
