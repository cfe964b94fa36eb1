"""The report as a reader of PDF sees it, and files for other programs read back by other libraries."""

import csv
import json
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.flags import bits
from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.output.charts_paper import chart_svg
from measure.output.export import FORMATS, export_study, safe_name
from measure.output.report import SECTIONS, report_pdf, write_report
from measure.output.report_facts import gather
from measure.output.report_parts import markup
from measure.output.shapes_export import label_image
from measure.output.study_tables import field_tables
from measure.sizes.rounding import figure_texts
from measure.study.records import Batch, NewField
from measure.study.study import Study
from tests.app.compare_study import make_compare_study
from tests.app.sizes_study import pieces

NASTY = "=HYPERLINK(A1) <b>&amp; \x07"


@pytest.fixture(scope="module")
def study_path(tmp_path_factory):
    return make_compare_study(tmp_path_factory.mktemp("report") / "paste.gritline")


@pytest.fixture(scope="module")
def study(study_path):
    with Study.open(study_path, read_only=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def odd_study(tmp_path_factory):
    """One field with names made to do harm, and a picture of its own size."""
    rng = np.random.default_rng(5)
    with Study.create(tmp_path_factory.mktemp("odd") / "odd.gritline") as made:
        scale = made.add_scale(Scale(0.5, 0.001, zoom="=1+1"))
        batch = made.add_batch(Batch(NASTY, recipe="@SUM(A1)", notes="-2+3\n+4"))
        picture = np.full((1200, 1600, 3), 200, np.uint8)
        data = cv2.imencode(".png", picture)[1].tobytes()
        new = NewField("../../../up.png", data, batch, scale, None, 1600, 1200)
        field = made.add_fields([new])[0]
        found = pieces(rng, 60, 30.0)
        quality = FieldQuality(0.01, 0.05, 1.0, (232, 214, 160), 1.5, 0.0, 1.0)
        result = FieldResult(found, Frame(1600, 1200), quality, FieldSettings(smallest_um=4.0), 0.5, 8.0)
        made.store_result(field, result)
        yield made


def words_of(data: bytes) -> list[str]:
    import pypdfium2

    document = pypdfium2.PdfDocument(data)
    pages = [page.get_textpage().get_text_range() for page in document]
    document.close()
    return [re.sub(r"\s+", " ", text) for text in pages]


@pytest.fixture(scope="module")
def whole(study):
    return report_pdf(study)


def test_the_same_study_gives_the_same_bytes(study, whole):
    assert report_pdf(study) == whole


def test_it_stands_alone(study, whole):
    pages = words_of(whole)
    text = " ".join(pages)
    for words in ("Answer", "Batches and slides", "Comparison", "Grind curve", "Cautions", "Picture files"):
        assert words in text
    for row in study.fields():
        assert row.sha256 in text
    assert "Miles-Lantuejoul" in text
    assert "µm per px" in text
    assert "no proof that a food is safe to eat" in text
    assert f"page {len(pages)} of {len(pages)}" in pages[-1]


def test_figures_are_those_of_the_summary(study, whole):
    text = " ".join(words_of(whole))
    for batch in gather(study).sized:
        name = "volume.x90_um"
        value, low, high = figure_texts(batch.summary.value(name), *batch.summary.interval(name))
        assert f"{value} ({low} to {high})" in text
        assert batch.verdict.sentence in text


def test_every_sign_is_in_a_font_that_is_embedded(whole):
    assert whole.count(b"/FontFile2") >= 2
    assert b"/Helvetica" not in whole.replace(b"/BaseFont /Helvetica", b"", 1)


def test_sections_and_batches_can_be_chosen(study):
    text = " ".join(
        words_of(report_pdf(study, sections=["cautions", "answer"], batches=["pass 3"], title="For A"))
    )
    assert "For A" in text
    assert "Cautions" in text
    assert "Comparison" not in text
    assert "Batches not in this report: pass 1, pass 6" in text
    with pytest.raises(InvalidInput, match="no section 'prices'"):
        report_pdf(study, sections=["prices"])
    with pytest.raises(InvalidInput, match="no batch 'pass 9'"):
        report_pdf(study, batches=["pass 9"])


@pytest.mark.parametrize("name", SECTIONS)
def test_each_section_can_stand_by_itself(odd_study, name):
    assert len(words_of(report_pdf(odd_study, sections=[name]))) >= 1


def test_names_and_notes_longer_than_a_page_run_on(odd_study, tmp_path):
    path = tmp_path / "long.gritline"
    odd_study.save_copy(path)
    with Study.open(path) as study:
        row = study.batches()[0]
        long = replace(row.batch, name="n" * 2000, recipe="hazelnuts, " * 800, notes="a note on it. " * 800)
        study.update_batch(row.id, long)
        pages = words_of(report_pdf(study))
    # one of them may be parted by the end of a page
    assert sum(page.count("a note on it.") for page in pages) >= 799
    assert all("hazelnuts" in page.split("\n")[0] + page[-200:] for page in pages[1:])  # the title heads them


def test_an_empty_study_has_no_report_and_leaves_no_file(tmp_path):
    with (
        Study.create(tmp_path / "new.gritline") as empty,
        pytest.raises(InvalidInput, match="nothing to report"),
    ):
        write_report(tmp_path / "r.pdf", empty)
    assert not (tmp_path / "r.pdf").exists()


def test_thin_spaces_are_set_as_spaces_the_fonts_have():
    assert markup("2\u2009235 pieces, 1\u202f131 \u00b5m") == "2\u00a0235 pieces, 1\u00a0131 \u00b5m"


def test_markup_cannot_be_smuggled_in():
    assert markup("<img src='x'/> \x00") == "&lt;img src='x'/&gt; \ufffd"


def test_names_cannot_leave_the_folder(odd_study, tmp_path):
    out = tmp_path / "out"
    written = export_study(odd_study, out, tuple(FORMATS))
    assert len(written) == len(set(written)) >= 10
    for path in written:
        assert out.resolve() in path.resolve().parents
    assert {p.name for p in tmp_path.iterdir()} == {"out"}
    taken: set[str] = set()
    names = [safe_name(n, taken) for n in ("..", "CON.tif", "a/b", "a\\b", "A_b", "x" * 300, "")]
    assert len({n.casefold() for n in names}) == len(names)
    assert all(n and "/" not in n and "\\" not in n and not n.startswith(".") for n in names)


def test_no_cell_runs_as_a_formula(odd_study, tmp_path):
    import openpyxl

    export_study(odd_study, tmp_path, ("csv", "xlsx"))
    for path in tmp_path.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        dangerous = [c for c in cells if c[:1] in "=@+\t\r" and c[:1]]
        assert dangerous == []
        assert all(re.fullmatch(r"-[0-9.e+-]+", c) for c in cells if c.startswith("-"))
    book = openpyxl.load_workbook(tmp_path / "study.xlsx")
    assert book.sheetnames == ["particles", "fields", "sizes", "batches", "edits"]
    assert all(c.data_type != "f" for sheet in book for row in sheet.iter_rows() for c in row)


@pytest.mark.parametrize("kind", ["csv", "comma", "xlsx", "parquet"])
def test_particle_tables_come_back_value_by_value(study, tmp_path, kind):
    signs = {"delimiter": ";", "decimal": ","} if kind == "comma" else {}
    export_study(study, tmp_path, ("csv" if kind == "comma" else kind,), **signs)
    table = {}
    for _, _, part in field_tables(study):
        for name, values in part.items():
            table.setdefault(name, []).extend(values.tolist())
    back = _read_back(tmp_path, kind)
    assert list(back) == list(table)
    for name, values in table.items():
        if isinstance(values[0], str):
            assert [v or "" for v in back[name]] == values
        else:
            got = [np.nan if v in ("", None) else float(str(v).replace(",", ".")) for v in back[name]]
            # seven figures are written in CSV
            tolerance = 0 if kind in ("xlsx", "parquet") else 5.1e-7
            np.testing.assert_allclose(
                got, np.array(values, float), rtol=max(tolerance, 1e-15), equal_nan=True
            )


def _read_back(folder, kind):
    if kind == "parquet":
        import pyarrow.parquet as pq

        return pq.read_table(folder / "particles.parquet").to_pydict()
    if kind == "xlsx":
        import openpyxl

        rows = list(openpyxl.load_workbook(folder / "study.xlsx")["particles"].iter_rows(values_only=True))
        return dict(zip(rows[0], zip(*rows[2:], strict=True), strict=True))
    with (folder / "particles.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, delimiter=";" if kind == "comma" else ","))
    return dict(zip(rows[0], zip(*rows[1:], strict=True), strict=True))


def test_the_sizes_sheet_holds_every_figure_with_its_interval(study, tmp_path):
    export_study(study, tmp_path, ("csv", "json"))
    with (tmp_path / "sizes.csv").open(encoding="utf-8", newline="") as file:
        rows = {(r["batch"], r["figure"]): r for r in csv.DictReader(file)}
    values = json.loads((tmp_path / "sizes.json").read_text(encoding="utf-8"))
    for batch in gather(study).sized:
        for name, value in batch.summary.values.items():
            row, (low, high) = rows[batch.batch.name, name], batch.summary.interval(name)
            assert [float(row[c]) for c in ("value", "low", "high")] == pytest.approx(
                [value, low, high], 1e-6
            )
        assert values[batch.batch.name]["volume"]["x90_um"] == batch.summary.value("volume.x90_um")


def test_outlines_are_read_back_by_shapely(odd_study, tmp_path):
    from shapely.geometry import Polygon, shape

    paths = export_study(odd_study, tmp_path, ("geojson", "coco"))
    particles = odd_study.particles(odd_study.fields()[0].id)
    plain = json.loads(next(p for p in paths if p.suffix == ".geojson").read_text(encoding="utf-8"))
    polygons = [shape(f["geometry"]) for f in plain["features"]]
    assert len(polygons) == len(particles)
    coco = json.loads((tmp_path / "outlines-coco.json").read_text(encoding="utf-8"))
    for i, (polygon, note) in enumerate(zip(polygons, coco["annotations"], strict=True)):
        truth = Polygon(particles.outlines[i])
        assert polygon.is_valid
        assert polygon.exterior.is_ccw
        assert polygon.symmetric_difference(truth).area < 0.01 * truth.area
        other = Polygon(np.reshape(note["segmentation"][0], (-1, 2)))
        assert other.equals_exact(polygon, 1e-9) or other.symmetric_difference(polygon).area < 1e-6
        x0, y0, x1, y1 = truth.bounds
        assert note["bbox"] == pytest.approx([x0, y0, x1 - x0, y1 - y0], abs=2e-3)
        assert note["area"] == pytest.approx(particles["area_px2"][i])
        um2 = plain["features"][i]["properties"]["area_um2"]
        assert um2 == pytest.approx(0.25 * particles["area_px2"][i])
    assert coco["images"][0]["width"] == 1600


def test_label_images_keep_areas_and_the_pixel_size(odd_study, tmp_path):
    import tifffile
    from shapely import contains_xy
    from shapely.geometry import Polygon

    path = export_study(odd_study, tmp_path, ("labels",))[0]
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        image = page.asarray()
        top, bottom = page.tags["XResolution"].value
        assert page.tags["ResolutionUnit"].value == 3  # centimetre, TIFF 6.0
    assert image.dtype == np.uint16
    assert image.shape == (1200, 1600)
    assert 10_000 / (top / bottom) == pytest.approx(0.5, rel=1e-6)
    particles = odd_study.particles(odd_study.fields()[0].id)
    y, x = np.mgrid[0:1200, 0:1600] + 0.5
    alone = [i for i in range(60) if not particles["flags"][i] & bits("touches_frame")][:12]
    shapes = [Polygon(o) for o in particles.outlines]
    for i in alone:
        if any(shapes[i].intersects(s) for j, s in enumerate(shapes) if j != i):
            continue
        assert np.array_equal(image == particles["label"][i], contains_xy(shapes[i], x, y))


def test_large_labels_need_32_bits(odd_study):
    particles = odd_study.particles(odd_study.fields()[0].id)
    large = particles.replaced(label=particles["label"] + 70_000)
    assert label_image(large, 1600, 1200).dtype == np.uint32


def test_charts_as_svg_are_xml_and_repeat(odd_study):
    import xml.etree.ElementTree as ET

    chart = gather(odd_study).sized[0].charts[0]
    data = chart_svg(chart)
    assert data == chart_svg(chart)
    root = ET.fromstring(data)
    assert root.tag.endswith("svg")
    assert any("area-equivalent diameter" in (e.text or "") for e in root.iter())


def test_paste_looked_at_and_tastings_stand_in_it_without_names(odd_study, tmp_path):
    from measure.judge.panel_session import PanelPlan, PanelSample, make_plan
    from measure.study.records import Slide, Tasting

    odd_study.save_copy(tmp_path / "rich.gritline")
    with Study.open(tmp_path / "rich.gritline") as study:
        batch, field = study.batches()[0].id, study.fields()[0].id
        slide = study.add_slide(Slide(batch, "slide 1", dilution=60, oil="hazelnut", film_um=50))
        study.update_field(field, slide_id=slide)
        plan = make_plan("triangle", [PanelSample("a"), PanelSample("b")], ["Quaggle", "Zibbet"], seed=1)
        answers = {str(i): s.answer for i, s in enumerate(plan.servings)}
        kept = Tasting("triangle", (batch,), "spring", plan.to_json(), {"answers": answers}, True)
        study.add_tasting(kept)
        # 0.8 mm x 0.6 mm x 50 um of smear, one part in 61 of it paste: about 0.4 ug at a density near 1
        assert 0.3e-6 < gather(study).batches[0].grams < 0.5e-6
        text = " ".join(words_of(report_pdf(study, sections=["record", "tasting"])))
    assert PanelPlan.from_json(plan.to_json()).assessors == ("Quaggle", "Zibbet")
    assert "Triangle test, ISO 4120" in text
    assert "2 of 2 right" in text
    assert "Quaggle" not in text
    assert "Paste looked at 0." in text


def test_a_report_of_one_batch_leaves_no_page_half_empty(study):
    import pypdfium2

    name = gather(study).sized[0].batch.name
    document = pypdfium2.PdfDocument(report_pdf(study, batches=[name]))
    filled = []
    for page in document:
        grey = np.asarray(page.render(scale=0.5, grayscale=True).to_pil().convert("L"))
        above_foot = grey[: round(grey.shape[0] * (1 - 52 / 842))]
        filled.append(np.flatnonzero((above_foot < 200).any(axis=1)).max() / len(above_foot))
    document.close()
    assert len(filled) > 3
    assert min(filled[:-1]) > 0.72, filled


def test_names_of_eastern_scripts_are_set_in_fonts_that_have_them(tmp_path):
    rng = np.random.default_rng(6)
    names = ("榛子 3", "ヘーゼルナッツ", "헤이즐넛 & <2>")
    with Study.create(tmp_path / "east.gritline") as made:
        scale = made.add_scale(Scale(0.5, 0.001))
        for place, name in enumerate(names):
            batch = made.add_batch(Batch(name, recipe="榛子 94 %"))
            new = NewField(f"{place}.png", b"%d" % place, batch, scale, None, 1600, 1200)
            field = made.add_fields([new])[0]
            quality = FieldQuality(0.01, 0.05, 1.0, (232, 214, 160), 1.5, 0.0, 1.0)
            found = pieces(rng, 60, 30.0)
            settings = FieldSettings(smallest_um=4.0)
            made.store_result(field, FieldResult(found, Frame(1600, 1200), quality, settings, 0.5, 8.0))
        data = report_pdf(made, sections=["answer", "record", "sizes", "compare"])
    text = "".join(words_of(data))
    for name in (*names, "榛子 94 %"):
        assert name in text
    for font in (b"STSong-Light", b"HeiseiKakuGo-W5", b"HYGothic-Medium"):
        assert font in data
