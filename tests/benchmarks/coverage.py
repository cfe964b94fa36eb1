"""How often 95 % intervals cover the truth, on simulated studies.

Run ``python tests/benchmarks/coverage.py`` for 300 studies a row (some minutes), ``--quick`` for 60.

A study is a number of fields; each field has its own median (log-normal spread between fields) and its own
number of pieces (gamma spread). Pieces are discs thrown at random on the frame; those that meet its edge are
dropped, the others weighted by 1/P; pieces below the lower limit are not seen. Each size is read with an
error of its own and a scale error shared by the study. The truth is the distribution of an endless number of
such fields above the limit. Most rows are log-normal, as the coarse end is taken to be where it is continued
(`measure.sizes.coarse_tail`); the last ones are not: Rosin-Rammler by volume, a few coarse pieces in a fine
batch (5 % of a second log-normal), and a batch that a gap has cut off at 50 um.
"""

import argparse
import math
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.model import Frame
from measure.sizes.frame_weight import frame_weight
from measure.sizes.sample import SizeSample, make_sample
from measure.sizes.summary import summarise

WIDTH, HEIGHT = 1200, 900  # um, one um a px
MEDIAN, LIMIT = 12.0, 5.0
BETWEEN, NUMBER_SPREAD = 0.10, 0.30
SCALE, EDGE = 0.003, 0.02
PROFILE = FeltProfile()
RAMP = PROFILE["kernel"]
NAMES = ("volume.x50_um", "volume.x90_um", "means_um.D[4,3]", FELT_SHARE)


@dataclass(frozen=True)
class Case:
    """One row of the table."""

    fields: int
    per_field: int
    sigma: float
    shape: str = ""


CASES = (
    Case(3, 150, 1.5),
    Case(5, 150, 1.6),
    Case(8, 150, 1.5),
    Case(8, 300, 1.8),
    Case(12, 200, 1.6),
    Case(30, 150, 1.6),
    Case(6, 34, 1.6),
    Case(8, 30, 1.8),
    Case(8, 30, 2.0),
    Case(20, 20, 1.8),
    Case(8, 200, 0, "Rosin-Rammler"),
    Case(8, 200, 0, "two parts"),
    Case(8, 30, 0, "cut off"),
)
_COARSE_PART, _GAP_UM, _ENDLESS = 0.05, 50.0, 2_000_000


def _sizes(case: Case, number: int, rng: np.random.Generator) -> np.ndarray:
    """Return sizes of the batch as a whole, before its fields differ, in um."""
    z = rng.standard_normal(number)
    if case.shape == "Rosin-Rammler":  # q_3 with n = 1.5 and x' = 35 um, so by number it is divided by x^3
        size = np.geomspace(0.5 * LIMIT, 12 * 35.0, 20_000)
        number_density = size ** (1.5 - 3) * np.exp(-((size / 35.0) ** 1.5))  # on a logarithmic axis
        curve = np.cumsum(number_density)
        return np.interp(rng.random(number), curve / curve[-1], size)
    if case.shape == "two parts":
        coarse = rng.random(number) < _COARSE_PART
        return np.where(coarse, 25 * np.exp(math.log(1.7) * z), 10 * np.exp(math.log(1.5) * z))
    if case.shape == "cut off":
        whole = MEDIAN * np.exp(math.log(1.8) * rng.standard_normal(2 * number + 50))
        return whole[whole < _GAP_UM][:number]
    return MEDIAN * np.exp(math.log(case.sigma) * z)


def draw(case: Case, rng: np.random.Generator) -> SizeSample:
    """Return one study as it would be measured."""
    sizes, fields = [], []
    scale = 1 + SCALE * rng.standard_normal()
    for field in range(case.fields):
        number = rng.poisson(case.per_field * rng.gamma(1 / NUMBER_SPREAD**2, NUMBER_SPREAD**2))
        d = _sizes(case, number, rng) * math.exp(BETWEEN * rng.standard_normal())
        d = d[d < 0.9 * HEIGHT]
        x, y = rng.uniform(0, WIDTH, len(d)), rng.uniform(0, HEIGHT, len(d))
        whole = (x > d / 2) & (x < WIDTH - d / 2) & (y > d / 2) & (y < HEIGHT - d / 2)
        seen = d[whole] * np.exp(EDGE * rng.standard_normal(whole.sum())) * scale
        seen = seen[seen >= LIMIT]
        sizes.append(seen)
        fields.append(np.full(len(seen), field))
    d = np.concatenate(sizes)
    return make_sample(
        d,
        frame_weight=frame_weight(Frame(WIDTH, HEIGHT), d, d),
        field=np.concatenate(fields),
        field_names=[str(i) for i in range(case.fields)],
        size_uncertainty_um=EDGE * d,
        smallest_um=LIMIT,
        scale_relative_uncertainty=SCALE,
    )


def truth(case: Case) -> dict[str, float]:
    """Return the figures of an endless number of fields (closed forms of the cut log-normal)."""
    from scipy.stats import norm

    if case.shape:
        return _endless(case)

    s, mu, cut = math.hypot(math.log(case.sigma), BETWEEN), math.log(MEDIAN), math.log(LIMIT)

    def moment(k: int) -> float:
        return math.exp(k * mu + k * k * s * s / 2) * norm.sf((cut - mu - k * s * s) / s)

    def percentile(p: float) -> float:
        below = norm.cdf((cut - mu - 3 * s * s) / s)
        return math.exp(mu + 3 * s * s + s * norm.ppf(below + p * (1 - below)))

    z = np.linspace((cut - mu - 3 * s * s) / s, 8, 20_001)
    volume = np.exp(-z * z / 2)
    felt = RAMP.probability(np.exp(mu + 3 * s * s + s * z)) @ volume / volume.sum()
    return dict(zip(NAMES, (percentile(0.5), percentile(0.9), moment(4) / moment(3), felt), strict=True))


def _endless(case: Case) -> dict[str, float]:
    """Return the figures of so many pieces that chance hardly matters."""
    rng = np.random.default_rng(1)
    d = _sizes(case, _ENDLESS, rng)
    d = np.sort(d * np.exp(BETWEEN * rng.standard_normal(len(d))))
    d = d[d >= LIMIT]
    volume = np.cumsum(d**3)
    x50, x90 = (d[np.searchsorted(volume, share * volume[-1])] for share in (0.5, 0.9))
    felt = float(RAMP.probability(d) @ d**3 / volume[-1])
    return dict(zip(NAMES, (x50, x90, float((d**4).sum() / volume[-1]), felt), strict=True))


def cover(
    case: Case, studies: int, resamples: int, seed: int
) -> tuple[dict[str, float], dict[str, float], float]:
    """Return coverage, median relative half-width and median number of pieces."""
    rng = np.random.default_rng(seed)
    true, hits, widths, pieces = truth(case), dict.fromkeys(NAMES, 0), {n: [] for n in NAMES}, []
    for i in range(studies):
        sample = draw(case, rng)
        summary = summarise(sample, resamples=resamples, seed=i, shares={FELT_SHARE: PROFILE.probability})
        pieces.append(summary.pieces)
        for name in NAMES:
            low, high = summary.interval(name)
            hits[name] += low <= true[name] <= high
            widths[name].append((high - low) / 2 / true[name])
    coverage = {n: h / studies for n, h in hits.items()}
    return coverage, {n: float(np.median(w)) for n, w in widths.items()}, float(np.median(pieces))


def main() -> int:
    """Print the table; 1 when intervals cover less than 93 % over all rows, or less than 86 % in one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="60 studies a row")
    parser.add_argument("--studies", type=int)
    parser.add_argument("--resamples", type=int, default=400)
    args = parser.parse_args()
    studies = args.studies or (60 if args.quick else 300)
    print(
        f"{studies} studies a row, {args.resamples} resamples; cover and median half-width of 95 % intervals"
    )
    print(
        f"{'fields':>6} {'pieces':>7} {'sigma_g':>13} "
        + " ".join(f"{n.split('.')[1]:>16}" for n in NAMES)
        + "      s"
    )
    everything = []
    for number, case in enumerate(CASES):
        start = time.perf_counter()
        found, widths, pieces = cover(case, studies, args.resamples, number)
        cells = " ".join(f"{100 * found[n]:7.1f} % ±{100 * widths[n]:4.0f} %" for n in NAMES)
        shape, took_s = case.shape or f"{case.sigma:.2f}", time.perf_counter() - start
        print(f"{case.fields:6d} {pieces:7.0f} {shape:>13} {cells} {took_s:6.1f}", flush=True)
        everything += [found[n] for n in NAMES]
    mean = [np.mean(everything[i :: len(NAMES)]) for i in range(len(NAMES))]
    print(f"{'all':>6} {'':>7} {'':>13} " + " ".join(f"{100 * m:7.1f} %       " for m in mean))
    good = min(mean) >= 0.93 and min(everything) >= 0.86
    print("93 % or more over all rows, 86 % or more in each" if good else "NOT enough")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
