"""Worksheets hold no key, and every caution."""

import re
import zlib

import pytest

from measure.errors import InvalidInput
from measure.judge.panel_session import METHODS, PanelSample, make_plan
from measure.output import worksheets
from measure.output.worksheets import write_key, write_worksheets

SAMPLES = {
    "triangle": 2, "paired": 2, "ranking": 3, "series": 4, "scale": 2,
}  # fmt: skip


def plan(method, people=("Ana", "Bo")):
    samples = [PanelSample(f"batch{i}", i, 20.0 * i) for i in range(1, SAMPLES[method] + 1)]
    return make_plan(method, samples, people, seed=7)


def pages(path):
    data = path.read_bytes()
    assert data.startswith(b"%PDF")
    return len(re.findall(rb"/Type /Page\b", data))


def words(parts):
    """All text of paragraphs and tables in a story."""
    found = []
    for part in parts:
        if hasattr(part, "text"):
            found.append(part.text)
        for row in getattr(part, "_cellvalues", []):
            found += [getattr(c, "text", c) for c in row]
    return " ".join(map(str, found))


@pytest.mark.parametrize("method", METHODS)
def test_worksheet_shows_codes_and_cautions_but_no_sample(method):
    made = plan(method)
    worksheets._fonts()
    text = words(worksheets._worksheet(made, "Ana", "test"))
    mine = [s for s in made.servings if s.assessor == "Ana"]
    assert all(code in text for s in mine for code in s.codes)
    assert "batch" not in text
    assert METHODS[method].standard in text
    for topic in ("Allergens", "stop at any time", "never diluted", "glass", "grit", "microbes", "licensed"):
        assert topic in text
    key = words(worksheets._key(made, "test"))
    assert "batch1" in key
    assert all(code in key for s in made.servings for code in s.codes)


def test_one_page_an_assessor_and_the_same_bytes_again(tmp_path):
    made = plan("series", tuple("ABCD"))
    write_worksheets(tmp_path / "a.pdf", made, "x")
    write_worksheets(tmp_path / "b.pdf", made, "x")
    assert pages(tmp_path / "a.pdf") == 4
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    write_key(tmp_path / "k.pdf", made, "x")
    assert pages(tmp_path / "k.pdf") == 1
    assert zlib.crc32((tmp_path / "k.pdf").read_bytes()) != zlib.crc32((tmp_path / "a.pdf").read_bytes())


def test_long_sessions_run_over_pages(tmp_path):
    write_key(tmp_path / "k.pdf", plan("triangle", tuple(f"P{i}" for i in range(120))))
    assert pages(tmp_path / "k.pdf") > 2


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(InvalidInput, match="gone"):
        write_worksheets(tmp_path / "gone" / "w.pdf", plan("triangle"))
