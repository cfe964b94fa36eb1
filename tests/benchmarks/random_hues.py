"""How well kinds are told in hues that nobody chose, and how firmly.

    python -m tests.benchmarks.random_hues [--cache FOLDER] [--seeds tune] [--hands first varied] [--each]

Three renderers draw fields whose kernels and skins each have a hue of their own, mixed at random of what
colours foods, in oil and lamp light of any tint; a fourth set is lit from above. Pieces are measured as the
program finds them and kept in a folder, so another run only tags them anew. Besides the share of kinds that
are right, in all and of the sure (doubt below 0.1), it says how many of the sure turn when a tenth of the
pieces is left out at random.
"""

import argparse
import pickle
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import gettempdir
from typing import NamedTuple

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from kind_samples import measured_found, varied_recipe

from measure.field.kinds.kinds import CODE_OF_GROUP, table_of, tag
from measure.particles import Particles
from measure.render.draw import render_field
from tests.benchmarks.kind_variety import varied_field
from tests.benchmarks.kind_variety_looks import ODD
from tests.benchmarks.other_hand.draw import draw

SEED_START = {"tune": 5_000, "second": 6_000, "report": 700_000}
# relative absorption of red, green and blue, from memory of the colours of foods
PIGMENTS = {
    "browned": (0.45, 0.8, 1.6),
    "tannin": (0.4, 1.1, 1.5),
    "carotene": (0.1, 0.7, 2.2),
    "anthocyanin": (0.3, 1.6, 1.1),
    "chlorophyll": (0.95, 0.5, 1.55),
    "melanin": (0.85, 1.0, 1.15),
    "blue berry": (1.4, 1.1, 0.5),
    "pale": (0.95, 1.0, 1.05),
}
ALIKE = 0.3  # most of another hue in the skins' where they are drawn like the kernels
OTHER_LOOKS = ("air_and_threads", "cut_by_frame", "salt_in_oil", "thick_kernels")
LEFT_OUT, ROUNDS = 0.1, 6
SURE = 0.1


class Field(NamedTuple):
    """Pieces of one field as measured, and the codes of their true kinds."""

    name: str
    codes: np.ndarray
    particles: Particles


def hue(rng: np.random.Generator) -> np.ndarray:
    """Absorption of red, green and blue of one or two pigments, mean 1."""
    shares = rng.dirichlet((1.0, 1.0)) if rng.random() < 0.5 else np.array([1.0, 0.0])
    mixed = shares @ np.array(list(PIGMENTS.values()))[rng.integers(len(PIGMENTS), size=2)]
    mixed = mixed * np.exp(rng.normal(0, 0.12, 3))
    return mixed / mixed.mean()


def pair(rng: np.random.Generator, alike: bool) -> tuple[np.ndarray, np.ndarray]:
    """Hues of kernels and of skins, each for itself, or of skins drawn near to the kernels'."""
    kernel, skin = hue(rng), hue(rng)
    if alike:
        share = rng.uniform(0.0, ALIKE)
        skin = kernel ** (1.0 - share) * skin**share
        skin = skin / skin.mean()
    return kernel, skin


def lamp(rng: np.random.Generator) -> np.ndarray:
    """Colour of the oil in linear light."""
    tint = np.exp(rng.normal(0, 0.25, 3))
    return rng.uniform(0.35, 0.85) * tint / tint.max()


def _screen(light: np.ndarray) -> tuple[float, float, float]:
    return tuple(float(v) for v in 255.0 * light ** (1 / 2.2))


def first(seed: int, alike: bool = False, ground: str = "bright") -> Field:
    """Draw a field by the renderer of the project."""
    rng = np.random.default_rng(seed)
    recipe = varied_recipe(rng, ground)
    oil = recipe.light.oil if ground == "dark" else _screen(lamp(rng) * (1.0 if ground == "bright" else 0.3))
    kernel, skin = pair(rng, alike)
    recipe = replace(
        recipe,
        kernel=replace(recipe.kernel, absorbance=tuple(0.46 * kernel), reflect=tuple(_surface(kernel, 0.25))),
        skin=replace(recipe.skin, absorbance=tuple(0.9 * skin), reflect=tuple(_surface(skin, 1.2))),
        light=replace(recipe.light, oil=oil, dark_ground=ground != "bright"),
        arrangement=replace(recipe.arrangement, touch_share=0.2),
        extras=replace(recipe.extras, bubbles=2, fibres=1),
    )
    drawn = render_field(recipe, seed)
    whole = [p for p in drawn.truth if not p.touches_frame]
    return _field("first " + ground, drawn.pixels, [p.outline for p in whole], [p.kind for p in whole])


def _surface(absorption: np.ndarray, strength: float) -> np.ndarray:
    """Light thrown back by a thick layer of that absorption over its scattering (Kubelka, Munk)."""
    share = strength * absorption
    return 1.0 + share - np.sqrt(share**2 + 2.0 * share)


def varied(seed: int, alike: bool = False) -> Field:
    """Draw a field by the renderer that varies what makes no kind."""
    rng = np.random.default_rng(seed)
    kernel, skin = pair(rng, alike)
    own = {"orange": kernel, "pink": skin, "above": False, "shares": rng.dirichlet((4.0, 2.5, 1.0))}
    own["opaque"] = float(rng.choice([0.0, 0.3]))
    return _field("varied", *varied_field(seed, ODD, own))


def other(seed: int, alike: bool = False) -> Field:
    """Draw a field by another hand."""
    rng = np.random.default_rng(seed)
    hues = dict(zip(("kernel", "skin"), pair(rng, alike), strict=True))
    drawn = draw(OTHER_LOOKS[seed % len(OTHER_LOOKS)], seed, 800, tuple(lamp(rng)), hues)
    asked = [t for t in drawn.truth if t.fair in ("", "near the limit") and t.kind != "clear"]
    names = [t.mark or t.kind for t in asked]
    return _field("other", drawn.pixels, [t.outline for t in asked], names)


def above(seed: int, alike: bool = False) -> Field:
    """Draw a field lit from above, on a dark or on a bright plate."""
    return first(seed, alike, "dark" if seed % 2 else "bright, lighter")


def _field(name: str, pixels: np.ndarray, outlines: list[np.ndarray], names: list[str]) -> Field:
    groups, particles = measured_found(pixels, outlines, names, False, 1.0)
    return Field(name, CODE_OF_GROUP[groups], particles)


HANDS = {"first": first, "varied": varied, "other": other, "above": above}


def fields(
    hands: list[str], start: int, count: int, cache: Path, alike: bool = False
) -> Iterator[tuple[str, int, Field]]:
    """Fields with hand and seed, drawn and measured unless a folder holds them."""
    cache.mkdir(parents=True, exist_ok=True)
    for hand in hands:
        for seed in range(start, start + count):
            file = cache / f"{hand}{'_alike' * alike}_{seed}.pkl"
            if not file.exists():
                file.write_bytes(pickle.dumps(tuple(HANDS[hand](seed, alike))))
            field = Field(*pickle.loads(file.read_bytes()))
            if len(field.codes):
                yield hand, seed, field


class Judged(NamedTuple):
    """For each piece of a field whether its kind is right and sure, and how often it turned."""

    right: np.ndarray
    sure: np.ndarray
    turned: np.ndarray


def judged(field: Field) -> Judged:
    """Tag the pieces of a field, and again with a tenth of them left out."""
    table = table_of(field.particles)
    found = tag(field.particles)
    rng = np.random.default_rng(len(field.codes))
    turned, asked = np.zeros(len(found)), np.zeros(len(found))
    for _ in range(ROUNDS):
        kept = np.flatnonzero(rng.random(len(found)) > LEFT_OUT)
        asked[kept] += 1
        turned[kept] += tag(field.particles.select(kept), None, table)["kind"] != found["kind"][kept]
    return Judged(found["kind"] == field.codes, found["kind_doubt"] < SURE, turned / np.maximum(asked, 1))


def line(name: str, parts: list[Judged]) -> str:
    """One row of the table."""
    right, sure, turned = (np.concatenate(column) for column in zip(*parts, strict=True))
    columns = (right, right[sure], sure, turned, turned[sure])
    share = [100.0 * float(values.mean()) if len(values) else float("nan") for values in columns]
    return f"{name:<14}{len(parts):>7}{len(right):>8}" + "".join(f"{value:>10.1f}" for value in share)


HEAD = (
    f"{'hand':<14}{'fields':>7}{'pieces':>8}{'right %':>10}{'of sure %':>10}{'sure %':>10}"
    f"{'turned %':>10}{'of sure %':>10}"
)


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--seeds", choices=sorted(SEED_START), default="tune")
    ask.add_argument("--hands", nargs="+", choices=sorted(HANDS), default=list(HANDS))
    ask.add_argument("--count", type=int, default=24, help="fields of a hand")
    ask.add_argument("--cache", type=Path, default=Path(gettempdir()) / "random_hues")
    ask.add_argument("--alike", action="store_true", help="kernels and skins of nearly one hue")
    ask.add_argument("--each", action="store_true", help="a row for each field")
    chosen = ask.parse_args()
    cv2.setNumThreads(1)
    print(HEAD)
    by_hand: dict[str, list[Judged]] = {}
    for hand, seed, field in fields(
        chosen.hands, SEED_START[chosen.seeds], chosen.count, chosen.cache, chosen.alike
    ):
        one = judged(field)
        by_hand.setdefault(hand, []).append(one)
        if chosen.each:
            print(line(f"{hand} {seed}", [one]), flush=True)
    for hand, parts in by_hand.items():
        print(line(hand, parts))
    print(line("all", [one for parts in by_hand.values() for one in parts]))


if __name__ == "__main__":
    main()
