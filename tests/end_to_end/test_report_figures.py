"""Every figure of a report, worked out anew from the exported table by a few lines that share nothing.

Definitions: ISO 9276-1 and 9276-2 (cumulative curves, percentiles, moment-ratio means), ISO 9276-6 (x_A),
Miles, J. Microsc. 113 (1978) 257 (frame correction). Percentiles of single pieces follow the rule of
`measure.sizes.distribution`: the curve runs through the middle of each piece's share.
"""

import csv
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.output.run_sizes import sizes_of_table
from measure.render.draw import render_field
from measure.render.recipes import TUNED
from measure.sizes.curve import curve
from measure.sizes.rounding import figure_texts
from measure.sizes.sample import sample_from_table
from measure.sizes.table_file import read_sizes_table

UM_PER_PX = 0.65
FIELDS = 3
# nobody feels a piece up to the first size, all from the second (um); the chance between rises with ln x
FELT_UM = {"kernel": (30, 100), "skin": (30, 80), "salt": (20, 60), "other": (30, 100)}
WORDS = {
    "number.x10_um": "x₁₀ by number", "number.x50_um": "x₅₀ by number", "number.x90_um": "x₉₀ by number",
    "number.mean_um": "mean by number", "number.geometric_mean_um": "geometric mean",
    "number.geometric_sd": "geometric standard deviation", "volume.x10_um": "x₁₀ by volume",
    "volume.x50_um": "x₅₀ by volume", "volume.x90_um": "x₉₀ by volume", "volume.mean_um": "mean by volume",
    "means_um.D[1,0]": "D[1,0]", "means_um.D[2,0]": "D[2,0]", "means_um.D[3,0]": "D[3,0]",
    "means_um.D[3,2]": "D[3,2]", "means_um.D[4,3]": "D[4,3]", "span": "span",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Measure drawn fields from the command line, and hand them over as tables, sizes and a report."""
    made = tmp_path_factory.mktemp("handed over")
    (made / "pass 3").mkdir()
    recipe = TUNED["salty"]
    sizes = replace(recipe.sizes, volume_median_um=26.0, sigma_g=1.5)
    recipe = replace(recipe, width_px=640, height_px=480, um_per_px=UM_PER_PX, sizes=sizes)
    for field in range(FIELDS):
        pixels = render_field(recipe, 70 + field).pixels[..., ::-1]
        (made / "pass 3" / f"{field}.png").write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
    study = str(made / "spread.gritline")
    run = ["measure", str(made / "pass 3"), "--um-per-px", str(UM_PER_PX), "--jobs", "1"]
    assert main([*run, "--batch", "pass 3", "--study", study]) == 0
    assert main(["export", study, "--out", str(made), "--format", "csv", "--format", "json"]) == 0
    assert main(["report", study, "--out", str(made / "report.pdf")]) == 0
    return made


class Table:
    """The counted pieces of the exported table: sizes, weights, volumes, kinds and fields."""

    def __init__(self, path: Path) -> None:
        with path.open(encoding="utf-8", newline="") as file:
            self.rows = [row for row in csv.DictReader(file) if row["counted"] == "1"]
        self.d, self.w, self.volume, self.area, self.across, self.down = (
            np.array([float(row[name]) for row in self.rows])
            for name in ("area_equivalent_diameter_um", "frame_weight", "volume_um3", "area_um2",
                         "feret_horizontal_um", "feret_vertical_um")
        )  # fmt: skip
        self.kind = np.array([row["kind"] for row in self.rows])
        self.field = np.array([row["field"] for row in self.rows])
        self.v = self.w * self.volume

    def percentile(self, quantity: np.ndarray, share: float) -> float:
        """Return the size below which a share of the quantity lies."""
        order = np.argsort(self.d)
        middle = np.cumsum(quantity[order]) - quantity[order] / 2
        return float(np.interp(share, middle / quantity.sum(), self.d[order]))

    def moment(self, p: int, q: int) -> float:
        """Return D[p,q] (ISO 9276-2, moment-ratio notation)."""
        return float(((self.w @ self.d**p) / (self.w @ self.d**q)) ** (1 / (p - q)))

    def felt(self) -> np.ndarray:
        """Return how likely each piece is felt."""
        low, high = np.array([FELT_UM[kind] for kind in self.kind], dtype=float).T
        return np.clip(np.log(self.d / low) / np.log(high / low), 0, 1)

    def figures(self) -> dict[str, float]:
        """Return every figure of the report."""
        found = {}
        for name, quantity in (("number", self.w), ("volume", self.v)):
            for percent in (10, 50, 90):
                found[f"{name}.x{percent}_um"] = self.percentile(quantity, percent / 100)
            found[f"{name}.mean_um"] = float(np.average(self.d, weights=quantity))
        logs = np.log(self.d)
        centre = np.average(logs, weights=self.w)
        found["number.geometric_mean_um"] = math.exp(centre)
        found["number.geometric_sd"] = math.exp(math.sqrt(np.average((logs - centre) ** 2, weights=self.w)))
        for p, q in ((1, 0), (2, 0), (3, 0), (3, 2), (4, 3)):
            found[f"means_um.D[{p},{q}]"] = self.moment(p, q)
        x10, x50, x90 = (found[f"volume.x{percent}_um"] for percent in (10, 50, 90))
        found["span"] = (x90 - x10) / x50
        found["felt.share"] = float(np.average(self.felt(), weights=self.v))
        return found


@pytest.fixture(scope="module")
def table(folder: Path) -> Table:
    return Table(folder / "particles.csv")


@pytest.fixture(scope="module")
def stated(folder: Path) -> dict[str, dict[str, str]]:
    """The exported figures by name."""
    with (folder / "sizes.csv").open(encoding="utf-8", newline="") as file:
        return {row["figure"]: row for row in csv.DictReader(file)}


def test_columns_hold_what_they_say(table):
    assert len(table.d) > 40
    assert set(table.kind) == {"kernel", "skin", "salt"}
    assert table.d == pytest.approx(np.sqrt(4 * table.area / math.pi), rel=1e-5)
    wide, high = 640 * UM_PER_PX, 480 * UM_PER_PX
    chance = (wide - table.across) * (high - table.down) / (wide * high)
    assert table.w == pytest.approx(1 / chance, rel=1e-5)
    sphere, flake, cube = math.pi / 6 * table.d**3, 12 * table.area, table.area**1.5
    by_kind = {"kernel": sphere, "skin": np.minimum(flake, sphere), "salt": cube}
    for kind, volume in by_kind.items():
        here = table.kind == kind
        assert table.volume[here] == pytest.approx(volume[here], rel=1e-5), kind


def test_every_figure_of_the_report_follows_from_the_table(folder, table, stated):
    import pypdfium2

    document = pypdfium2.PdfDocument(folder / "report.pdf")
    text = re.sub(r"\s+", " ", " ".join(page.get_textpage().get_text_range() for page in document))
    document.close()
    figures = table.figures()
    assert set(figures) == set(stated) == {*WORDS, "felt.share"}
    for name, value in figures.items():
        row = stated[name]
        assert float(row["value"]) == pytest.approx(value, rel=1e-5), name
        low, high = float(row["low"]), float(row["high"])
        assert low <= value <= high, name
        if name in WORDS:
            shown, *ends = figure_texts(value, low, high)
            unit = "" if name in ("span", "number.geometric_sd") else "µm "
            assert f"{WORDS[name]} {shown} {unit}{ends[0]} to {ends[1]} 6.5" in text, name
    share = figures["felt.share"]
    assert f"{100 * share:.0f} % of the solids' volume is of a size that is felt" in text
    felt = table.v * table.felt()
    kinds = {kind: felt[table.kind == kind].sum() / felt.sum() for kind in set(table.kind)}
    most = max(kinds, key=kinds.__getitem__)
    assert f"{100 * kinds[most]:.0f} % of what is felt is {most}" in text
    x50, x90 = (figure_texts(figures[n], *(float(stated[n][e]) for e in ("low", "high")))
                for n in ("volume.x50_um", "volume.x90_um"))  # fmt: skip
    both = f"{x50[0]} ({x50[1]} to {x50[2]}) {x90[0]} ({x90[1]} to {x90[2]})"
    assert f"pass 3 {len(table.d)} 6.5 {both}" in text


def test_all_files_say_the_same(folder, stated):
    with (folder / "sizes.json").open(encoding="utf-8") as file:
        found = json.load(file)["pass 3"]
    for name, row in stated.items():
        if name == "felt.share":
            assert found["felt"]["share"] == pytest.approx(float(row["value"]))
            continue
        group, _, key = name.partition(".")
        assert (found[group][key] if key else found[group]) == pytest.approx(float(row["value"])), name
        assert found["intervals"][name] == pytest.approx([float(row["low"]), float(row["high"])]), name
    again = sizes_of_table(folder / "particles.csv").summary
    for name, row in stated.items():
        if name != "felt.share":
            assert again.value(name) == pytest.approx(float(row["value"]), rel=1e-6), name


def test_cumulative_curves_are_those_of_the_table(folder, table):
    sample = sample_from_table(read_sizes_table(folder / "particles.csv"))
    at = np.geomspace(6.5, 120, 60)
    for r, quantity in ((0, table.w), (3, table.v)):
        own = np.array([quantity[table.d <= x].sum() for x in at]) / quantity.sum()
        assert curve(sample, at, r=r, resamples=0).share == pytest.approx(own, abs=1e-9)


def test_an_interval_is_what_the_report_says_it_is(table, stated):
    # whole fields drawn anew, Student's t for their small number (t(0.975, 2) = 4.302653, from tables); the
    # mean by number hangs on no unseen piece, and the scale was typed without an uncertainty
    rng = np.random.default_rng(11)
    names, place = np.unique(table.field, return_inverse=True)
    number, length = np.bincount(place, table.w), np.bincount(place, table.w * table.d)
    drawn = rng.multinomial(FIELDS, np.full(FIELDS, 1 / FIELDS), size=20_000)
    assert len(names) == FIELDS
    whole = math.log(length.sum() / number.sum())
    below, above = np.quantile(np.log(drawn @ length / (drawn @ number)) - whole, [0.025, 0.975])
    stretch = math.sqrt(FIELDS / (FIELDS - 1)) * 4.302653 / 1.959964
    edges = np.array([float(row["size_uncertainty_um"]) for row in table.rows])
    edge = math.sqrt(((table.w * edges) ** 2).sum()) / (table.w @ table.d)
    down = math.hypot(max(-below, above / 2) * stretch, 1.959964 * edge)
    row = stated["number.mean_um"]
    assert math.log(float(row["value"]) / float(row["low"])) == pytest.approx(down, rel=0.1)
