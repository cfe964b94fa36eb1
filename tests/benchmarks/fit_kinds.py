"""Fit the built-in kind model on fields of three renderers and write `measure/field/kinds/kind_model.json`.

    python tests/benchmarks/fit_kinds.py [--fields 110] [--cache FOLDER] [--check-only]

The pieces come from `kind_samples.py`. What the doubt is worth is judged, and its boldness set, on looks
left out of the fitting as a whole, since a user's pictures are a look the model has not seen either.
"""

import argparse
import json
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from tempfile import gettempdir

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from kind_samples import GROUNDS, HANDS, Sample, gather

from measure.field.kinds import kind_form, kind_model, kinds

MODEL_FILE = Path(kind_model.__file__).with_name("kind_model.json")
RIDGE = 3.0
SAY = (0.4, 0.2, 0.4)  # of `HANDS`
STEPS = 200
GROUPS = len(kind_model.GROUPS)
FEWEST = 30  # pieces of a group from which its own mean and spread are taken
TEMPERATURES = np.arange(1.0, 2.51, 0.05)  # below 1 it would be bolder than fitted
LITTLE_DOUBT, RIGHT_OF_SURE, RIGHT_OF_SURE_FOREIGN = 0.1, 0.96, 0.90
DOUBTS = (0.0, 0.02, 0.1, 0.3, 0.6, 1.01)


def weights(samples: list[Sample], codes: np.ndarray) -> np.ndarray:
    """Give each renderer its say, and rare groups more of it than their number.

    The first alone draws foreign matter of all sorts, the third varies most what makes no kind.
    """
    hand = np.concatenate([np.full(len(s.codes), HANDS.index(s.hand)) for s in samples])
    share = (np.array(SAY) / np.bincount(hand, minlength=len(HANDS)).clip(1))[hand]
    share = share / share.sum()
    present = np.bincount(codes, weights=share, minlength=GROUPS)
    share = share / np.sqrt(np.maximum(present, 1e-9))[codes]
    return share / share.mean()


def fit(values: np.ndarray, codes: np.ndarray, weight: np.ndarray) -> kind_model.Model:
    """Fit the multinomial model with a ridge."""
    mean, scale = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-3)
    standard = (values - mean) / scale
    present = np.bincount(codes, minlength=GROUPS)
    found = _weights_of_terms(kind_model.terms(standard), codes, weight, values.shape[1])
    found[present == 0, 0] -= 20.0
    centre, inverse = [], []
    for g in range(GROUPS):
        own = standard[codes == g] if present[g] > FEWEST else standard
        centre.append(own.mean(axis=0))
        inverse.append(np.linalg.inv(np.cov(own.T) + 0.15 * np.eye(standard.shape[1])))
    model = kind_model.Model(mean, scale, found, 1.0, np.array(centre), np.array(inverse), 1.0)
    return replace(model, far=float(np.quantile(kind_model.strangeness(model, standard), 0.995)))


def _weights_of_terms(x: np.ndarray, codes: np.ndarray, weight: np.ndarray, simple: int) -> np.ndarray:
    """Penalised likelihood; products of descriptors are held back more than descriptors themselves."""
    from scipy.optimize import minimize

    one = np.eye(GROUPS)[codes]
    order = np.arange(x.shape[1])
    ridge = RIDGE * np.where(order == 0, 0.01, np.where(order <= simple, 1.0, 2.0))

    def cost(flat: np.ndarray) -> tuple[float, np.ndarray]:
        w = flat.reshape(GROUPS, -1)
        score = x @ w.T
        score -= score.max(axis=1, keepdims=True)
        p = np.exp(score)
        p /= p.sum(axis=1, keepdims=True)
        loss = -(weight * np.log(np.maximum(p[np.arange(len(x)), codes], 1e-12))).sum()
        gradient = ((p - one) * weight[:, None]).T @ x + ridge * w
        return loss + 0.5 * (ridge * w * w).sum(), gradient.ravel()

    start = np.zeros(GROUPS * x.shape[1])
    found = minimize(cost, start, jac=True, method="L-BFGS-B", options={"maxiter": STEPS})
    return found.x.reshape(GROUPS, -1)


def fitted(samples: list[Sample]) -> kind_model.Model:
    """Fit on all pieces of some fields."""
    codes = np.concatenate([s.codes for s in samples])
    values = np.concatenate([kind_model.descriptors(s.particles) for s in samples])
    return fit(values, codes, weights(samples, codes))


def left_out(samples: list[Sample]) -> list[tuple[kind_model.Model, Sample]]:
    """Fields as the program finds them, each with a model that was fitted without its look."""
    pairs = []
    for look in sorted({s.look for s in samples}):
        asked = [s for s in samples if s.look == look and s.found]
        if asked:
            model = fitted([s for s in samples if s.look != look])
            pairs += [(model, s) for s in asked]
    return pairs


def chances(model: kind_model.Model, sample: Sample) -> np.ndarray:
    """Probabilities of the groups as the program uses them."""
    chance = kind_model.probabilities(model, kind_model.descriptors(sample.particles))
    return kinds.judged(chance, sample.particles)


def left_out_renderer(samples: list[Sample]) -> list[tuple[kind_model.Model, Sample]]:
    """Fields of each renderer with a model fitted on the others; not of one with a single look."""
    pairs = []
    for hand in HANDS:
        own, rest = ([s for s in samples if (s.hand == hand) == mine] for mine in (True, False))
        if min(len({s.look for s in side}) for side in (own, rest)) > 1:
            model = fitted(rest)
            pairs += [(model, s) for s in own if s.found]
    return pairs


def best_temperature(pairs: list, foreign: list) -> float:
    """Temperature that makes the true kinds of left-out looks likeliest, or higher where the doubt asks it.

    Of the pieces of little doubt enough must be right with either renderer, and not much fewer where
    nothing of that renderer was known, if any temperature brings that about.
    """
    codes = np.concatenate([s.codes for _, s in pairs])
    weight, true = weights([s for _, s in pairs], codes), kinds.CODE_OF_GROUP[codes]
    loss, known, both = [], [], []
    for temperature in TEMPERATURES:
        chance = np.concatenate([chances(replace(m, temperature=temperature), s) for m, s in pairs])
        own = (chance * (kinds.CODE_OF_GROUP[None] == true[:, None])).sum(axis=1)
        loss.append(-(weight * np.log(np.maximum(own, 1e-3))).sum())
        known.append(right_of_sure(pairs, temperature) > RIGHT_OF_SURE)
        both.append(known[-1] and right_of_sure(foreign, temperature) > RIGHT_OF_SURE_FOREIGN)
    likeliest = int(np.argmin(loss))
    honest = both if any(both[likeliest:]) else known
    enough = [i for i in range(likeliest, len(loss)) if honest[i]]
    return float(TEMPERATURES[enough[0] if enough else -1])


def right_of_sure(pairs: list, temperature: float) -> float:
    """Share of right kinds among pieces of little doubt, the smallest one of all renderers."""
    shares = [1.0]
    for hand in HANDS:
        mine = [(replace(m, temperature=temperature), s) for m, s in pairs if s.hand == hand]
        if mine:
            kind, doubt, _ = kinds.decide(np.concatenate([chances(m, s) for m, s in mine]))
            right = kind == kinds.CODE_OF_GROUP[np.concatenate([s.codes for _, s in mine])]
            sure = doubt < LITTLE_DOUBT
            shares.append(float(right[sure].mean()) if sure.any() else 1.0)
    return min(shares)


def report(title: str, pairs: list[tuple[kind_model.Model, Sample]]) -> None:
    """Print how often kinds are right, the confusion, and what the doubt is worth."""
    codes = np.concatenate([s.codes for _, s in pairs])
    look = np.concatenate([np.full(len(s.codes), s.look) for _, s in pairs])
    hand = np.concatenate([np.full(len(s.codes), s.hand) for _, s in pairs])
    kind, doubt, _ = kinds.decide(np.concatenate([chances(m, s) for m, s in pairs]))
    right = kind == kinds.CODE_OF_GROUP[codes]
    print(f"{title}: {len(codes)} pieces, kinds right {right.mean():.4f}")
    print(
        "  " + ", ".join(f"{n} {right[look == n].mean():.3f} of {(look == n).sum()}" for n in np.unique(look))
    )
    print(np.array([np.bincount(kind[codes == g], minlength=4) for g in range(GROUPS)]))
    for name in np.unique(hand):
        mine = hand == name
        for low, high in pairwise(DOUBTS):
            rows = (doubt >= low) & (doubt < high) & mine
            if rows.any():
                share, good = rows.sum() / mine.sum(), right[rows].mean()
                print(f"  {name} doubt {low:.2f}-{high:.2f}: {share:.3f} of pieces, right {good:.4f}")


def _samples_of(table: str, ground: str, grey: bool, samples: list[Sample]) -> list[Sample]:
    """Return what a table is fitted on; stained oil goes by that of bright ground where its colour shows."""
    own = [s for s in samples if s.ground == ground and s.grey == grey]
    return [s for s in own if kinds.table_of(s.particles) == table] if ground == GROUNDS[2] else own


def form_alone(samples: list[Sample]) -> kind_model.Model:
    """Fit the table of form without colour on all pieces of coloured fields lit from below."""
    own = [s for s in samples if s.ground == GROUNDS[0] and not s.grey]
    codes = np.concatenate([s.codes for s in own])
    values = np.concatenate([kind_model.descriptors(s.particles) for s in own])
    return fit(kind_form.colourless(values), codes, weights(own, codes))


def _form_table(only: list[str], samples: list[Sample]) -> dict:
    asked = not only or kind_form.FORM in only
    return {kind_form.FORM: kind_model.to_numbers(form_alone(samples))} if asked else {}


def rounded(value: object) -> object:
    """Return nested numbers with four digits, which is all they are worth."""
    if isinstance(value, dict):
        return {name: rounded(v) for name, v in value.items()}
    return [rounded(v) for v in value] if isinstance(value, list) else float(f"{value:.4g}")


def main() -> None:
    """Fit, check and write."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--fields", type=int, default=110)
    ask.add_argument("--cache", type=Path, default=Path(gettempdir()) / "kind_samples")
    ask.add_argument("--check-only", action="store_true", help="only judge the model as it is")
    ask.add_argument("--only", default="", help="tables with semicolons; the others stay as they are")
    ask.add_argument("--quick", action="store_true", help="no judging on left-out looks: temperatures stay")
    chosen = ask.parse_args()
    cv2.setNumThreads(1)
    only, tables = [name for name in chosen.only.split(";") if name], {}
    grounds = {name.partition(" on ")[2] for name in only} or GROUNDS
    samples = gather(chosen.fields, chosen.cache, grounds)
    if only:
        tables |= json.loads(MODEL_FILE.read_text(encoding="utf-8"))["tables"]
    for ground in GROUNDS:
        for grey in (False, True):
            table = f"{'grey' if grey else 'colour'} on {ground}"
            own = _samples_of(table, ground, grey, samples)
            if only and table not in only:
                continue
            if chosen.check_only:
                report(table, [(kind_model.built_in(table), s) for s in own if s.found])
                continue
            model = replace(fitted(own), temperature=kind_model.built_in(table).temperature)
            if not chosen.quick:
                pairs, foreign = left_out(own), left_out_renderer(own)
                model = replace(model, temperature=best_temperature(pairs, foreign))
                for title, judged in (("looks", pairs), ("renderers", foreign)):
                    if judged:
                        judged = [(replace(m, temperature=model.temperature), s) for m, s in judged]
                        report(f"{table}, {title} left out, temperature {model.temperature:.2f}", judged)
            tables[table] = kind_model.to_numbers(model)
    if tables:
        tables |= _form_table(only, samples)
        text = json.dumps({"tables": rounded(tables)}, separators=(",", ":"))
        MODEL_FILE.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
