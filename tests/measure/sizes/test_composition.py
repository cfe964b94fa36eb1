"""Densities of a paste by its composition."""

import pytest

from measure.errors import InvalidInput
from measure.sizes.composition import CONSTITUENTS, constituent_g_per_cm3, paste_of


def test_densities_of_constituents():
    # Choi and Okos (1986) at 20 degrees Celsius: protein, fat and water; the others from memory
    wanted = {
        "protein": 1319.5,
        "fat": 917.2,
        "water": 995.7,
        "carbohydrate": 1592.9,
        "fibre": 1304.2,
        "ash": 2418.2,
    }
    for name, density in wanted.items():
        assert 1000 * constituent_g_per_cm3(name) == pytest.approx(density, abs=0.06)
    assert constituent_g_per_cm3("salt") == 2.165  # CRC Handbook, from memory
    assert constituent_g_per_cm3("fat", 60.0) < constituent_g_per_cm3("fat")
    assert set(wanted) | {"salt"} == set(CONSTITUENTS)


@pytest.mark.parametrize(
    ("water", "protein", "fat", "carbohydrate", "fibre", "ash", "density"),
    # nominal peanut and almond (from memory); density of all but the fat, derived
    [(1.5, 25.0, 49.7, 13.1, 8.4, 3.0, 1.403), (4.4, 21.2, 49.9, 9.1, 12.5, 3.0, 1.356)],
)
def test_defatted_solids(water, protein, fat, carbohydrate, fibre, ash, density):
    paste = paste_of(
        {
            "water": water, "protein": protein, "fat": fat, "carbohydrate": carbohydrate, "fibre": fibre,
            "ash": ash,
        }
    )  # fmt: skip
    assert paste.solids_g_per_cm3 == pytest.approx(density, abs=6e-4)
    assert paste.solids == pytest.approx(0.40, abs=0.012)
    mixed = paste.solids * paste.solids_g_per_cm3 + (1 - paste.solids) * paste.oil_g_per_cm3
    assert paste.g_per_cm3 == pytest.approx(mixed)


@pytest.mark.parametrize(
    ("percent", "said"),
    [
        ({"fat": 50, "sand": 50}, "'sand' is no constituent"),
        ({"fat": 50, "protein": 20}, "adds up to 70 %"),
        ({"fat": 50, "protein": -1, "ash": 51}, "protein must be 0 % or above"),
        ({"fat": 100}, "A paste needs fat and something in it"),
        ({"protein": 100}, "A paste needs fat and something in it"),
        ({"fat": float("nan"), "protein": 50}, "fat must be 0 % or above"),
    ],
)
def test_what_is_no_composition_is_refused(percent, said):
    with pytest.raises(InvalidInput, match=said):
        paste_of(percent)


def test_a_temperature_out_of_range_is_refused():
    with pytest.raises(InvalidInput, match="not at 200"):
        constituent_g_per_cm3("fat", 200.0)
