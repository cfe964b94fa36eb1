"""``gritline scale`` from the outside: exit codes, the JSON object, files written or not."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.scale import read_aperture, read_scale
from tests.measure.scale.drawn_rulings import PLAIN, draw

DRAWING = replace(PLAIN, width=640, height=360, angle_deg=-7.0)


@pytest.fixture(scope="module")
def ruling(tmp_path_factory):
    path = tmp_path_factory.mktemp("rulings") / "pravítko 10x.png"
    good, data = cv2.imencode(".png", draw(DRAWING)[..., ::-1])
    assert good
    path.write_bytes(data.tobytes())
    return path


def test_json_is_the_contract(ruling, capsys):
    assert main(["scale", str(ruling), "--division-um", "10", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert list(said) == [
        "um_per_px",
        "standard_uncertainty_um_per_px",
        "angle_deg",
        "graduations",
        "residual_px",
        "division_um",
    ]
    assert said["um_per_px"] == pytest.approx(DRAWING.um_per_px, rel=1e-4)
    assert said["angle_deg"] == pytest.approx(-7.0, abs=0.05)
    assert said["division_um"] == 10.0
    assert said["graduations"] >= 44
    assert 0 < said["standard_uncertainty_um_per_px"] < 1e-4
    assert 0 < said["residual_px"] < 0.1


def test_summary_and_file(ruling, tmp_path, capsys):
    out = tmp_path / "scale.json"
    options = ["--certificate-um", "0.5", "--coverage-factor", "2", "--zoom", "10x", "--out", str(out)]
    assert main(["scale", str(ruling), "--division-um", "10", *options]) == 0
    said = capsys.readouterr().out
    assert "expanded uncertainty, 95 %" in said
    assert "certificate" in said
    scale = read_scale(out)
    assert (scale.zoom, scale.width_px, scale.height_px, scale.certificate_um) == ("10x", 640, 360, 0.5)
    span = (scale.graduations - 1) * 10.0
    # U/k over the span (JCGM 100, 4.3.3) outweighs the fit here
    assert scale.relative_uncertainty == pytest.approx(0.25 / span, rel=0.1)
    assert [p.name for p in tmp_path.iterdir()] == ["scale.json"]


def test_without_a_certificate_it_says_so(ruling, capsys):
    assert main(["scale", str(ruling), "--division-um", "10"]) == 0
    assert "No certificate" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ([], "--division-um"),
        (["--division-um", "0"], "division"),
        (["--division-um", "-10"], "division"),
        (["--division-um", "nan"], "no number"),
        (["--division-um", "ten"], "no number"),
        (["--division-um", "10", "--certificate-um", "-1"], "certificate"),
        (["--division-um", "10", "--certificate-um", "1", "--coverage-factor", "0"], "coverage factor"),
        (["--division-um", "10", "--coverage-factor", "3"], "--certificate-um"),
        (["--division-um", "99999"], "outside"),
    ],
)
def test_numbers_that_cannot_be_meant(ruling, tmp_path, capsys, options, word):
    out = tmp_path / "scale.json"
    assert main(["scale", str(ruling), *options, "--out", str(out)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert word in said.err
    assert said.err.count("\n") == 1
    assert not out.exists()


def _pieces(path):
    """Particles in oil, drawn plainly."""
    rng = np.random.default_rng(8)
    picture = np.full((360, 480, 3), 205, np.uint8)
    for _ in range(60):
        centre, axes = rng.uniform(0, [480, 360]).astype(int), rng.uniform(4, 22, 2).astype(int)
        shade = int(rng.integers(60, 180))
        cv2.ellipse(
            picture,
            centre.tolist(),
            axes.tolist(),
            float(rng.uniform(0, 180)),
            0,
            360,
            (shade, shade, shade),
            -1,
        )
    path.write_bytes(cv2.imencode(".png", picture)[1].tobytes())


def test_pictures_that_cannot_serve(ruling, tmp_path, capsys):
    _pieces(tmp_path / "pieces.png")
    (tmp_path / "empty.png").write_bytes(b"")
    (tmp_path / "text.png").write_text("a ruling, I say")
    (tmp_path / "cut.png").write_bytes(ruling.read_bytes()[:20_000])
    for name, word in {
        "pieces.png": "no ruling",
        "empty.png": "empty",
        "text.png": "text",
        "cut.png": "incomplete",
        "none.png": "does not exist",
        ".": "folder",
    }.items():
        out = tmp_path / "scale.json"
        assert main(["scale", str(tmp_path / name), "--division-um", "10", "--out", str(out)]) == 2
        said = capsys.readouterr()
        assert word in said.err, name
        assert said.out == ""
        assert not out.exists()


def test_an_output_place_that_cannot_be_made(ruling, tmp_path, capsys):
    (tmp_path / "file").write_text("kept")
    for place in ("file/scale.json", "none/scale.json", "."):
        assert main(["scale", str(ruling), "--division-um", "10", "--out", str(tmp_path / place)]) == 2
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.count("\n") == 1
    assert (tmp_path / "file").read_text() == "kept"


def test_nothing_but_a_scale_file_is_written_over(ruling, tmp_path, capsys):
    picture, table = tmp_path / "ruling.png", tmp_path / "table.csv"
    picture.write_bytes(ruling.read_bytes())
    table.write_text("a,b\n1,2\n", encoding="utf-8")
    for held in (picture, table):
        before = held.read_bytes()
        assert main(["scale", str(picture), "--division-um", "10", "--out", str(held)]) == 2
        assert "is there already and is no scale file" in capsys.readouterr().err
        assert held.read_bytes() == before
    again = tmp_path / "scale.json"
    for division in ("10", "20"):
        assert main(["scale", str(picture), "--division-um", division, "--out", str(again)]) == 0
        assert read_scale(again).division_um == float(division)


def test_doubt_about_the_division_is_told_by_the_exit_code(ruling, monkeypatch, capsys):
    """Lines seen between the graduations: the scale is printed, the doubt said, and the exit code is 1."""
    import measure.scale

    found = measure.scale.find_scale
    monkeypatch.setattr(measure.scale, "find_scale", lambda *a, **k: replace(found(*a, **k), parts_seen=5))
    assert main(["scale", str(ruling), "--division-um", "10", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["um_per_px"] == pytest.approx(DRAWING.um_per_px, rel=1e-4)


def test_a_bar_drawn_into_the_picture_serves_by_its_ends(tmp_path, capsys):
    picture = tmp_path / "bar.png"
    pixels = np.full((120, 300, 3), 210, np.uint8)
    cv2.rectangle(pixels, (100, 60), (204, 62), (0, 0, 0), -1)
    picture.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
    out = tmp_path / "scale.json"
    bar = ["--ends", "100,61,204,61", "--length-um", "20"]
    assert main(["scale", str(picture), *bar, "--out", str(out)]) == 0
    scale = read_scale(out)
    assert scale.um_per_px == pytest.approx(20 / 104)
    assert (scale.width_px, scale.height_px) == (300, 120)
    said = capsys.readouterr().out
    assert "Written to" in said
    assert "plain ruling" not in said
    assert "only as good as the setting it was drawn with" in said.replace("\n", " ")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--division-um", "10"], "--ends"),
        (["--ends", "1,2,3,4"], "--length-um"),
        (["--length-um", "20"], "--ends"),
        (["--ends", "1,2,3", "--length-um", "20"], "both ends"),
        (["--ends", "1,2,b,4", "--length-um", "20"], "no number"),
        (["--ends", "1,2,900,4", "--length-um", "20"], "outside"),
        (["--ends", "1,2,1,2", "--length-um", "20"], ""),
        (["--ends", "1,2,90,4", "--length-um", "0"], ""),
        (["--ends", "1,2,90,4", "--length-um", "20", "--division-um", "10"], "either"),
    ],
)
def test_bad_bars_are_refused_in_one_sentence(options, said, tmp_path, capsys):
    picture = tmp_path / "oil.png"
    picture.write_bytes(cv2.imencode(".png", np.full((120, 300, 3), 210, np.uint8))[1].tobytes())
    out = tmp_path / "scale.json"
    assert main(["scale", str(picture), *options, "--out", str(out)]) == 2
    heard = capsys.readouterr()
    assert said in heard.err
    assert "Traceback" not in heard.err
    assert not out.exists()


def test_the_aperture_told_is_kept_in_the_file_and_said(ruling, tmp_path, capsys):
    out = tmp_path / "scale.json"
    asked = ["scale", str(ruling), "--division-um", "10", "--na", "0.25", "--out", str(out)]
    assert main(asked) == 0
    # 2 x 0.61 lambda / NA (Rayleigh) at 0.55 um
    assert "NA 0.25: it tells points 1.3 µm apart; sizes hold from 2.7 µm on." in capsys.readouterr().out
    assert read_aperture(out) == 0.25
    assert main([*asked, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["objective_na"] == 0.25
    for wrong, words in (("3", "numerical aperture lies"), ("wide", "--na 'wide' is no number")):
        assert main(["scale", str(ruling), "--division-um", "10", "--na", wrong]) == 2
        assert words in capsys.readouterr().err
