"""From the area of a piece seen from above to its volume: one named, editable model a kind."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS, Kind

SHAPES = ("sphere", "cube", "flake")
DEFAULT_FLAKE_UM = 12.0


@dataclass(frozen=True)
class VolumeModel:
    """How one kind's volume follows from its area.

    Attributes
    ----------
    shape : str
        "sphere" of the area-equivalent diameter; "cube" whose face is the area seen; "flake" of the area
        seen and a fixed thickness.
    thickness_um : float or None
        Thickness of a flake, um; None for the other shapes.
    """

    shape: str = "sphere"
    thickness_um: float | None = None

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise InvalidInput(f"Volume model '{self.shape}' is not known; use one of {', '.join(SHAPES)}.")
        if self.shape == "flake" and not _is_length(self.thickness_um):
            raise InvalidInput(
                f"A flake needs a thickness above 0 um, not {self.thickness_um}; skins are about 12 um."
            )

    def volume_um3(self, area_um2: np.ndarray) -> np.ndarray:
        """Return the volume of pieces with the given areas, um^3, same shape as the input.

        A flake narrower than 1.5 thicknesses would hold more than the sphere of its area; it is then taken
        as that sphere, because a skin crumb is not thicker than it is wide.
        """
        area = np.asarray(area_um2, dtype=float)
        sphere = 4.0 / (3.0 * math.sqrt(math.pi)) * area**1.5
        if self.shape == "cube":
            return area**1.5
        if self.shape == "flake":
            return np.minimum(area * float(self.thickness_um or 0.0), sphere)
        return sphere

    def describe(self) -> str:
        """Return the model in plain words."""
        if self.shape == "cube":
            return "cube whose face is the area seen"
        if self.shape == "flake":
            return f"flake of the area seen, {self.thickness_um:g} µm thick, never more than the sphere"
        return "sphere of the area-equivalent diameter"


def _is_length(value: object) -> bool:
    return (
        isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and value > 0
    )


def _defaults() -> dict[Kind, VolumeModel]:
    return {
        Kind.KERNEL: VolumeModel("sphere"),
        Kind.SKIN: VolumeModel("flake", DEFAULT_FLAKE_UM),
        Kind.SALT: VolumeModel("cube"),
        Kind.OTHER: VolumeModel("sphere"),
    }


@dataclass(frozen=True)
class VolumeModels:
    """The volume model of every kind. Never mutated; `with_model` makes a changed copy.

    Notes
    -----
    A microscope sees two dimensions; the third is an assumption, so it is named and reported. Against the
    sphere of equal area a cube on its face holds 1.329 times as much and a flake 1.5 t / d (derived).

    Examples
    --------
    >>> import numpy as np
    >>> models = VolumeModels()
    >>> models.volume_um3(np.array([0, 2]), np.array([np.pi * 25, 100.0])).round(2).tolist()
    [523.6, 1000.0]
    """

    models: Mapping[Kind, VolumeModel] = field(default_factory=_defaults)

    def __post_init__(self) -> None:
        object.__setattr__(self, "models", {**_defaults(), **{Kind(k): m for k, m in self.models.items()}})

    def __getitem__(self, kind: Kind | str) -> VolumeModel:
        return self.models[Kind(kind)]

    def with_model(self, kind: Kind | str, shape: str, thickness_um: float | None = None) -> "VolumeModels":
        """Return a copy with the model of one kind replaced."""
        return replace(self, models={**self.models, Kind(kind): VolumeModel(shape, thickness_um)})

    def volume_um3(self, kind_codes: np.ndarray, area_um2: np.ndarray) -> np.ndarray:
        """Return each piece's volume.

        Parameters
        ----------
        kind_codes : (K,) ndarray of int
            Index into `measure.model.KINDS`.
        area_um2 : (K,) ndarray of float
            Area seen, um^2.

        Returns
        -------
        (K,) ndarray of float
            um^3.
        """
        codes = np.asarray(kind_codes, dtype=int)
        area = np.asarray(area_um2, dtype=float)
        volume = np.empty(area.shape)
        for code, kind in enumerate(KINDS):
            chosen = codes == code
            if chosen.any():
                volume[chosen] = self.models[kind].volume_um3(area[chosen])
        return volume

    def describe(self) -> tuple[str, ...]:
        """Return one sentence a kind, in the order of the kinds."""
        return tuple(f"{kind.value}: {self.models[kind].describe()}" for kind in KINDS)

    def to_json(self) -> str:
        """Return the models as JSON text that `from_json` reads back."""
        return json.dumps(
            {k.value: {"shape": m.shape, "thickness_um": m.thickness_um} for k, m in self.models.items()}
        )

    @classmethod
    def from_json(cls, text: str) -> "VolumeModels":
        """Return the models `to_json` wrote; kinds left out keep their default.

        Raises
        ------
        InvalidInput
            If the text is not such JSON, or names an unknown kind or shape.
        """
        try:
            raw = json.loads(text)
            return cls({Kind(k): VolumeModel(m["shape"], m.get("thickness_um")) for k, m in raw.items()})
        except InvalidInput:
            raise
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise InvalidInput(
                f"The volume models cannot be read ({error}); set them anew for each kind."
            ) from error
