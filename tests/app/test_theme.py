"""Colours can be read and told apart, in both rooms and by colour-blind eyes."""

import itertools
import subprocess
import sys

import numpy as np
import pytest
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from app import theme
from app.style_sheet import style_sheet
from app.theme import DARK, KIND_STYLE, LIGHT, Palette
from measure.model import KINDS, Kind, Picture
from measure.output import overlay
from measure.particles import make_particles

INKS = ("ink", "soft_ink", "accent", "done", "warning", "error")
GROUNDS = (
    "window",
    "surface",
    "raised",
    "rail",
    "picture",
    "accent_soft",
    "warning_soft",
    "error_soft",
)

# what eyes without one kind of cone see, in linear RGB, severity 1.0: Machado, Oliveira and Fernandes, A
# physiologically-based model for simulation of color vision deficiency, IEEE Transactions on Visualization
# and Computer Graphics 15 (2009) 1291, matrices from memory
CONES = {
    "all": np.eye(3),
    "red-blind": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "green-blind": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.01182, 0.04294, 0.968881],
    ],
    "blue-blind": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.3039],
    ],
}


def linear(colour: str) -> np.ndarray:
    """Return linear RGB of ``#rrggbb`` (IEC 61966-2-1)."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    low, high = sorted((linear(one) @ weights, linear(other) @ weights))
    return (high + 0.05) / (low + 0.05)


def difference(one: str, other: str, cones: str) -> float:
    """Return CIEDE2000 between two colours as those eyes see them."""
    from skimage.color import deltaE_ciede2000, rgb2lab

    seen = [np.clip(np.array(CONES[cones]) @ linear(colour), 0, 1) for colour in (one, other)]
    encoded = [np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055) for v in seen]
    first, second = (rgb2lab(value[None, None]) for value in encoded)
    return float(deltaE_ciede2000(first, second)[0, 0])


def test_contrast_agrees_with_known_values():
    # WCAG 2.2 definition: black on white is 21; #767676 is the well-known lightest grey above 4.5 on white
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
def test_text_can_be_read(palette: Palette):
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text of the usual size
    pairs = [*itertools.product(INKS, GROUNDS), ("accent_ink", "accent")]
    ratios = {pair: contrast(*(getattr(palette, name) for name in pair)) for pair in pairs}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
def test_outlines_of_controls_can_be_seen(palette: Palette):
    # WCAG 2.2, 1.4.11: 3 to 1 for what shows that a thing can be operated
    ratios = {ground: contrast(palette.edge, getattr(palette, ground)) for ground in GROUNDS}
    assert {ground: ratio for ground, ratio in ratios.items() if ratio < 3} == {}
    # switched off is exempt there, but handles of scroll bars are of the same colour
    assert min(contrast(palette.faint_ink, getattr(palette, g)) for g in ("window", "surface")) >= 3


@pytest.mark.parametrize("cones", CONES)
@pytest.mark.parametrize("column", ["colour", "on_light", "on_dark"])
def test_kinds_are_told_apart_by_colour(cones: str, column: str):
    colours = [getattr(KIND_STYLE[kind], column) for kind in KINDS]
    assert min(difference(a, b, cones) for a, b in itertools.combinations(colours, 2)) >= 20


def test_kinds_are_told_apart_without_colour():
    styles = [KIND_STYLE[kind] for kind in KINDS]
    assert len({style.dashes for style in styles}) == len(KINDS)
    assert len({style.letter for style in styles}) == len(KINDS)
    assert all(style.letter.lower() in style.word for style in styles)
    assert {style.in_room(LIGHT) for style in styles}.isdisjoint({style.in_room(DARK) for style in styles})


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
def test_kinds_show_on_charts(palette: Palette):
    for kind in KINDS:
        assert contrast(KIND_STYLE[kind].in_room(palette), palette.surface) >= 3


def shown_least(line: str, halo: str) -> float:
    """Return the contrast of a line or its halo, whichever shows more, on the ground that suits least."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    ground = np.linspace(0.05, 1.05, 2001)
    seen = [ground / (linear(colour) @ weights + 0.05) for colour in (line, halo)]
    return float(np.maximum(*(np.maximum(ratio, 1 / ratio) for ratio in seen)).min())


@pytest.mark.parametrize("kind", KINDS)
def test_outlines_show_on_any_ground(kind: Kind):
    style = KIND_STYLE[kind]
    assert shown_least(style.colour, style.casing) >= 2.99
    # black and white side by side are the best there can be: the root of 21
    assert shown_least("#000000", "#ffffff") == pytest.approx(21**0.5, abs=0.01)


def test_pictures_for_a_folder_have_the_colours_of_the_window():
    for kind in KINDS:
        assert QColor(*overlay.KIND_RGB[kind]).name() == KIND_STYLE[kind].colour
        assert QColor(*overlay.HALO_RGB[kind]).name() == KIND_STYLE[kind].casing


@pytest.mark.parametrize("level", [0, 40, 128, 200, 255])
def test_drawn_outlines_show_on_any_ground(level: int):
    pixels = np.full((120, 120, 3), level, np.uint8)
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    disc = np.column_stack([60 + 30 * np.cos(turn), 60 + 30 * np.sin(turn)]).astype(np.float32)
    for code in range(len(KINDS)):
        drawn = overlay.draw_overlay(Picture(pixels), make_particles([disc], kind=code))
        edge = np.unique(drawn.reshape(-1, 3), axis=0)
        colours = [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in edge.tolist()]
        assert max(contrast(colour, "#" + f"{level:02x}" * 3) for colour in colours) >= 2.9, KINDS[code]


def test_choosing_a_theme_dresses_the_program(qtbot: QtBot, qapp):
    theme.choose("dark")
    assert theme.current() is DARK
    assert qapp.palette().window().color().name() == DARK.window
    assert DARK.accent in qapp.styleSheet()
    theme.choose("nonsense")
    assert theme.chosen() == "system"
    theme.choose("light")
    assert theme.current() is LIGHT


def test_type_follows_the_size_the_system_asks_for(qapp):
    size = qapp.font().pointSizeF()
    assert theme.font("title").pointSizeF() == pytest.approx(size * theme.SIZES["title"])
    assert f"font-size: {size * theme.SIZES['figure']:.1f}pt" in style_sheet(LIGHT)


def test_a_window_is_built_without_the_style_sheet_only_where_there_are_no_widgets():
    """Else widgets that were never shown could end the program after they are gone."""
    code = (
        "import gc\n"
        "from PySide6.QtWidgets import QApplication, QFrame, QVBoxLayout\n"
        "from app import theme\n"
        "app = QApplication([])\n"
        "theme.choose('light')\n"
        "with theme.undressed():\n"
        "    print(app.styleSheet() == '')\n"
        "print(app.styleSheet() == '')\n"
        "frames = [QFrame() for _ in range(400)]\n"
        "def measured():\n"
        "    for frame in frames:\n"
        "        box = frame.layout() or QVBoxLayout(frame)\n"
        "        box.invalidate()\n"
        "        box.contentsMargins()\n"
        "        box.sizeHint()\n"
        "measured()\n"
        "with theme.undressed():\n"
        "    print(app.styleSheet() == '')\n"
        "measured()\n"
        "del frames\n"
        "gc.collect()\n"
        "memory = [bytearray(b'Z' * n) for n in range(40, 4000, 8)]\n"
        "theme.choose('light')\n"
        "theme.choose('dark')\n"
        "print('alive')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["True", "False", "False", "alive"], done.stderr
