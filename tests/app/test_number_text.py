"""Numbers in words: rounding by the uncertainty."""

import doctest
import math

import pytest
from PySide6.QtWidgets import QLabel

from app import number_text, parts
from app.number_text import THIN


def plain(text: str) -> str:
    return text.replace(THIN, " ")


def test_examples_in_the_docstrings():
    assert doctest.testmod(number_text).failed == 0


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        # the 100 g mass standard worked in JCGM 100:2008, 7.2.2: 100.02147 g with u = 0.35 mg
        (100.02147, 0.00035, "g", "100.02147 ± 0.00035 g"),
        (23.456, 0.0996, "µm", "23.46 ± 0.10 µm"),
        (23.456, 0.996, "µm", "23.5 ± 1.0 µm"),
        (23.456, 1.97, "µm", "23.5 ± 2.0 µm"),
        (1234.5, 120.0, "µm", "1 230 ± 120 µm"),
        (0.0, 0.5, "", "0.00 ± 0.50"),
        (-0.004, 0.5, "", "0.00 ± 0.50"),
        (5.0, 0.0, "µm", "5.000 µm"),
        (5.0, math.nan, "µm", "5.000 µm"),
        (math.nan, 0.1, "µm", "–"),
    ],
)
def test_value_ends_where_its_uncertainty_ends(value: float, uncertainty: float, unit: str, text: str):
    assert plain(number_text.with_uncertainty(value, uncertainty, unit)) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (22.13, 24.92, "23.4 (22.1 to 24.9) µm"),
        (23.3, 23.5, "23.40 (23.30 to 23.50) µm"),
        (14, 36, "23 (14 to 36) µm"),
        (5, 60, "23.4 (5 to 60) µm"),  # wider than the value: it keeps its own digits
        (math.nan, 30, "23.4 µm"),
    ],
)
def test_interval_ends_at_one_place(low: float, high: float, text: str):
    assert plain(number_text.interval(23.4, low, high)) == text


def test_negative_numbers_carry_a_real_minus():
    assert number_text.number(-2.5) == "\u22122.50"


def test_groups_of_digits_are_set_apart():
    assert plain(number_text.fixed(1234567.0, 0)) == "1 234 567"


@pytest.mark.parametrize(
    ("seconds", "text"), [(0.21, "0.2 s"), (59.4, "59 s"), (60, "1 min 0 s"), (3599.6, "60 min 0 s")]
)
def test_time(seconds: float, text: str):
    assert number_text.duration(seconds) == text


def test_no_line_ends_between_a_number_and_its_unit(qtbot):
    assert number_text.unbroken("48 % of 12 pieces, 3 µm") == f"48{THIN}% of 12 pieces, 3{THIN}µm"
    assert number_text.unbroken("5 samples, 7 px-wide 2 min.") == f"5 samples, 7{THIN}px-wide 2{THIN}min."
    label = parts.label("held against 2 %", wrap=True)
    qtbot.addWidget(label)
    assert QLabel.text(label) == f"held against 2{THIN}%"
    label.setText("10 % (felt)")
    assert (label.text(), QLabel.text(label)) == ("10 % (felt)", f"10{THIN}% (felt)")


def test_percent_keeps_a_digit_of_small_shares():
    assert [plain(number_text.percent(s)) for s in (0, 0.0042, 0.094, 0.5, 1)] == [
        "0 %",
        "0.4 %",
        "9.4 %",
        "50 %",
        "100 %",
    ]
