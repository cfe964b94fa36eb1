"""Volume models against solid geometry."""

import json
import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.model import KINDS, Kind
from measure.sizes.volume import VolumeModel, VolumeModels


def test_sphere_holds_the_volume_of_the_ball_of_that_diameter():
    d = np.array([5.0, 20.0, 83.0])
    assert VolumeModel("sphere").volume_um3(np.pi * d**2 / 4) == pytest.approx(np.pi * d**3 / 6)


def test_cube_against_sphere_of_its_face():
    # solid geometry: a cube of edge a seen on its face; the sphere of equal area holds 0.752253 a^3
    area = np.array([49.0])
    assert VolumeModel("cube").volume_um3(area)[0] == pytest.approx(343.0)
    assert VolumeModel("sphere").volume_um3(area)[0] / 343.0 == pytest.approx(0.752253, abs=1e-6)


@pytest.mark.parametrize(("diameter", "share"), [(60.0, 0.25), (100.0, 0.15)])
def test_flake_against_sphere_of_its_disc(diameter, share):
    # a disc of diameter d and thickness t holds 1.5 t / d of the sphere
    area = np.array([math.pi * diameter**2 / 4])
    ratio = VolumeModel("flake", 10.0).volume_um3(area) / VolumeModel("sphere").volume_um3(area)
    assert ratio[0] == pytest.approx(share)


def test_a_crumb_of_skin_never_holds_more_than_its_sphere():
    area = np.geomspace(1.0, 1e5, 50)
    assert np.all(VolumeModel("flake", 12.0).volume_um3(area) <= VolumeModel().volume_um3(area) + 1e-9)


def test_each_kind_by_its_own_model_and_json_round_trip():
    models = VolumeModels().with_model(Kind.SKIN, "flake", 20.0)
    codes = np.array([KINDS.index(k) for k in (Kind.SALT, Kind.SKIN, Kind.KERNEL)])
    area = np.full(3, 10_000.0)
    volume = models.volume_um3(codes, area)
    assert volume[0] == pytest.approx(1e6)
    assert volume[1] == pytest.approx(200_000.0)
    assert volume[2] == pytest.approx(752_252.778, rel=1e-6)
    again = VolumeModels.from_json(models.to_json())
    assert again == models
    # a crumb is no thicker than it is wide, and whoever recomputes volumes must know
    assert "20 µm thick, never more than the sphere" in " ".join(again.describe())
    assert json.loads(models.to_json())["salt"]["shape"] == "cube"


@pytest.mark.parametrize("thickness", [None, 0.0, -3.0, float("nan"), True])
def test_a_flake_without_a_thickness_is_refused(thickness):
    with pytest.raises(InvalidInput, match="thickness"):
        VolumeModel("flake", thickness)


@pytest.mark.parametrize(
    "text", ["", "[]", '{"glass": {"shape": "cube"}}', '{"salt": {}}', '{"salt": {"shape": "egg"}}']
)
def test_bad_json_is_refused(text):
    with pytest.raises(InvalidInput):
        VolumeModels.from_json(text)
