"""What the built program is made of: the recipe names files that are there, and Linux is told of studies."""

import ast
import configparser
import re
from pathlib import Path
from xml.etree import ElementTree

from app.application import make_application

HERE = Path(__file__).resolve().parents[2] / "app" / "packaging"
# freedesktop.org: Desktop Entry Specification 1.5 and Shared MIME-info Specification 0.21
MIME = "{http://www.freedesktop.org/standards/shared-mime-info}"


def test_desktop_entry_opens_a_study_and_names_our_icon(qtbot):
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str
    entry.read(HERE / "gritline.desktop", encoding="utf-8")
    main = entry["Desktop Entry"]
    assert main["Type"] == "Application"
    assert main["Exec"] == "gritline %f"
    assert (HERE / f"{main['Icon']}.svg").is_file()
    assert make_application().desktopFileName() == main["Icon"]
    for name in ("MimeType", "Keywords", "Categories"):
        assert main[name].endswith(";")


def test_studies_have_a_type_that_the_entry_claims():
    (kind,) = ElementTree.parse(HERE / "gritline-mime.xml").getroot().findall(f"{MIME}mime-type")
    assert kind.get("type") == "application/x-gritline"
    assert kind.find(f"{MIME}glob").get("pattern") == "*.gritline"
    assert f"MimeType={kind.get('type')};" in (HERE / "gritline.desktop").read_text(encoding="utf-8")


def test_recipe_names_files_that_are_there():
    text = (HERE / "gritline.spec").read_text(encoding="utf-8")
    ast.parse(text)
    named = re.findall(r'HERE / "([^"]+)"', text)
    assert "start.py" in named
    for name in named:
        assert (HERE / name).is_file(), name
    top = HERE.parents[1]
    for parts in re.findall(r'str\(TOP((?: / "[^"]+")+)\)', text):
        assert top.joinpath(*re.findall(r'"([^"]+)"', parts)).exists()


def test_icon_is_a_drawing_of_our_own():
    root = ElementTree.parse(HERE / "gritline.svg").getroot()
    assert root.get("viewBox") == "0 0 256 256"
    assert (HERE / "gritline.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
