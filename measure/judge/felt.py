"""Felt profiles: how likely a tongue feels a piece of a kind and size, and the felt share of a batch.

No size is felt by everyone and none below it by nobody: trained people noticed pieces from 2 to 230 µm as a
gradient, and
hardness, shape, amount, fat, saliva and solubility all shift it. A profile is therefore a ramp, its limits
are shown with
their source, and a study's own tastings may replace them.
"""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS, Kind

FELT_SHARE = "felt.share"

_TRADE = "chocolate trade's rule that 25 to 30 µm is where a mass turns gritty (common practice, no source)"
_CUSTARD = "Engelen et al. 2005 (custard, 2 to 230 µm: roughness rises up to about 80 µm)"
_FOODS = "Imai et al. 1999 (19 ground foods: recognised from 51 to 270 µm; hard ones earlier)"
_HARD = "Tyle 1993 (hard and sharp grains are felt finer than soft and round ones)"


@dataclass(frozen=True)
class FeltRamp:
    """Sizes between which a kind goes from felt by nobody to felt by all, straight in ln x.

    Attributes
    ----------
    none_um, all_um : float
        Nobody feels a piece up to the first; everybody one from the second on.
    source : str
        Where the limits come from.
    """

    none_um: float
    all_um: float
    source: str = "set by hand"

    def __post_init__(self) -> None:
        good = math.isfinite(self.none_um) and math.isfinite(self.all_um) and 0 < self.none_um < self.all_um
        if not good:
            raise InvalidInput(
                "A felt profile needs two sizes above 0 µm, the one nobody feels below the one all feel, not "
                f"{self.none_um:g} and {self.all_um:g} µm."
            )

    def probability(self, diameter_um: np.ndarray) -> np.ndarray:
        """Return how likely pieces of these sizes are felt, 0..1."""
        d = np.asarray(diameter_um, dtype=float)
        return np.clip(np.log(d / self.none_um) / math.log(self.all_um / self.none_um), 0.0, 1.0)

    def slope(self, diameter_um: np.ndarray) -> np.ndarray:
        """Return the change of that with ln x."""
        d = np.asarray(diameter_um, dtype=float)
        inside = (d > self.none_um) & (d < self.all_um)
        return np.where(inside, 1.0 / math.log(self.all_um / self.none_um), 0.0)


def _default_ramps() -> dict[Kind, FeltRamp]:
    return {
        Kind.KERNEL: FeltRamp(30.0, 100.0, f"{_TRADE}; {_CUSTARD}; {_FOODS}"),
        Kind.SKIN: FeltRamp(30.0, 80.0, f"{_TRADE}; {_CUSTARD}"),
        Kind.SALT: FeltRamp(20.0, 60.0, f"{_HARD}; it dissolves, so for a short while only"),
        Kind.OTHER: FeltRamp(30.0, 100.0, "taken as kernel"),
    }


@dataclass(frozen=True)
class FeltProfile:
    """A felt profile: one ramp a kind, and the felt shares that decide the verdict.

    Attributes
    ----------
    name : str
        For the report.
    ramps : mapping of Kind to FeltRamp
    not_felt_share, felt_share : float
        Up to the first felt share of the solids' volume the batch is "not felt", from the second on "felt".
    note : str
        Where those two come from.
    from_tasting : bool
        True when a panel's own threshold set the ramps.
    limit_um : tuple of float or None
        That threshold with its 95 % interval: the value, its low and its high end.
    tasted : tuple of Kind
        Kinds whose ramps it set.
    """

    name: str = "published work and common practice"
    ramps: Mapping[Kind, FeltRamp] = field(default_factory=_default_ramps)
    not_felt_share: float = 0.02
    felt_share: float = 0.10
    note: str = (
        "after Imai et al. 1995, where half of the people noticed grit once size in µm times per cent by "
        "mass reached "
        "about 6 (water) to 42 (hard gel), that is about 1 % of pieces of 40 µm; a starting point, not a rule"
    )
    from_tasting: bool = False
    limit_um: tuple[float, float, float] | None = None
    tasted: tuple[Kind, ...] = ()

    def __post_init__(self) -> None:
        if not 0 < self.not_felt_share < self.felt_share < 1:
            raise InvalidInput(
                "The felt shares of a verdict must rise between 0 and 1, not "
                f"{self.not_felt_share:g} and {self.felt_share:g}."
            )
        ramps = {**_default_ramps(), **{Kind(k): ramp for k, ramp in self.ramps.items()}}
        object.__setattr__(self, "ramps", ramps)
        object.__setattr__(self, "tasted", tuple(Kind(kind) for kind in self.tasted))
        if self.limit_um is not None:
            value, low, high = limit = tuple(float(v) for v in self.limit_um)
            if not (0 < low <= value <= high < math.inf):
                raise InvalidInput(f"A panel's limit lies within its interval, not at {value:g} µm.")
            object.__setattr__(self, "limit_um", limit)

    def __getitem__(self, kind: Kind | str) -> FeltRamp:
        return self.ramps[Kind(kind)]

    def with_ramp(
        self, kind: Kind | str, none_um: float, all_um: float, source: str = "set by hand"
    ) -> "FeltProfile":
        """Return a copy with the ramp of one kind replaced; it is then no panel's any more."""
        ramps = {**self.ramps, Kind(kind): FeltRamp(none_um, all_um, source)}
        return replace(self, ramps=ramps, tasted=tuple(k for k in self.tasted if k != Kind(kind)))

    def with_limit_at(self, limit_um: float) -> "FeltProfile":
        """Return the profile as it were had the panel's limit been this size."""
        if self.limit_um is None:
            return self
        factor = limit_um / self.limit_um[0]
        moved = {
            k: replace(
                self.ramps[k], none_um=self.ramps[k].none_um * factor, all_um=self.ramps[k].all_um * factor
            )
            for k in self.tasted
        }
        return replace(self, ramps={**self.ramps, **moved})

    def probability(self, kind_codes: np.ndarray, diameter_um: np.ndarray) -> np.ndarray:
        """Return how likely each piece is felt, (K,) ndarray of 0..1."""
        return self._by_kind(kind_codes, diameter_um, FeltRamp.probability)

    def slope(self, kind_codes: np.ndarray, diameter_um: np.ndarray) -> np.ndarray:
        """Return the change of each piece's probability with ln x, (K,) ndarray."""
        return self._by_kind(kind_codes, diameter_um, FeltRamp.slope)

    def _by_kind(
        self,
        kind_codes: np.ndarray,
        diameter_um: np.ndarray,
        what: Callable[[FeltRamp, np.ndarray], np.ndarray],
    ) -> np.ndarray:
        codes, d = np.asarray(kind_codes, dtype=int), np.asarray(diameter_um, dtype=float)
        result = np.zeros(d.shape)
        for code, kind in enumerate(KINDS):
            chosen = codes == code
            if chosen.any():
                result[chosen] = what(self.ramps[kind], d[chosen])
        return result

    def all_felt_um(self, kind_codes: np.ndarray) -> np.ndarray:
        """Return, for each piece, the size from which all feel its kind."""
        return np.array([self.ramps[kind].all_um for kind in KINDS])[np.asarray(kind_codes, dtype=int)]

    def describe(self) -> tuple[str, ...]:
        """Return the profile in sentences, its sources and its doubts included."""
        lines = [
            f"{kind.value}: nobody up to {ramp.none_um:.3g} µm, all from {ramp.all_um:.3g} µm ({ramp.source})"
            for kind, ramp in self.ramps.items()
        ]
        shares = f"{100 * self.not_felt_share:g} % and {100 * self.felt_share:g} %"
        return (
            *lines,
            f"Not felt and felt are told apart at felt shares of {shares} of the volume ({self.note}).",
            "No cut-off is universal: hardness, shape, amount, fat, saliva and whether a piece dissolves "
            "all matter.",
        )

    def to_json(self) -> str:
        """Return the profile as JSON text that `from_json` reads back."""
        ramps = {
            k.value: {"none_um": r.none_um, "all_um": r.all_um, "source": r.source}
            for k, r in self.ramps.items()
        }
        plain = {
            "name": self.name,
            "ramps": ramps,
            "not_felt_share": self.not_felt_share,
            "felt_share": self.felt_share,
            "note": self.note,
            "from_tasting": self.from_tasting,
        }
        if self.limit_um is not None:
            plain |= {"limit_um": self.limit_um, "tasted": [kind.value for kind in self.tasted]}
        return json.dumps(plain, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> "FeltProfile":
        """Return the profile `to_json` wrote.

        Raises
        ------
        InvalidInput
            If the text is not such JSON.
        """
        try:
            raw = json.loads(text)
            ramps = {Kind(k): FeltRamp(**ramp) for k, ramp in raw.pop("ramps").items()}
            return cls(ramps=ramps, **raw)
        except InvalidInput:
            raise
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise InvalidInput(f"The felt profile cannot be read ({error}); set its sizes anew.") from error


def profile_from_threshold(
    profile: FeltProfile,
    threshold_um: float,
    geometric_sd: float,
    *,
    kinds: tuple[Kind, ...],
    source: str,
    interval_um: tuple[float, float] | None = None,
) -> FeltProfile:
    """Return a profile whose ramps come from a panel's own threshold.

    Parameters
    ----------
    threshold_um : float
        Group threshold.
    geometric_sd : float
        Spread of the single thresholds, a ratio above 1.
    kinds : tuple of Kind
        The kinds the panel tasted.
    source : str
        The tasting, for the report.
    interval_um : tuple of float, optional
        95 % interval of the threshold, which the verdict takes into account.

    Returns
    -------
    FeltProfile
        Ramps centred on the threshold in ln x, with the same standard deviation: half-width sqrt(3) ln(sd).
    """
    if not (math.isfinite(threshold_um) and threshold_um > 0):
        raise InvalidInput(f"A threshold must be above 0 µm, not {threshold_um:g}.")
    if not (math.isfinite(geometric_sd) and geometric_sd >= 1):
        raise InvalidInput(f"The spread of thresholds is a ratio of at least 1, not {geometric_sd:g}.")
    ratio = max(geometric_sd, 1.02) ** math.sqrt(3)
    ramp = FeltRamp(threshold_um / ratio, threshold_um * ratio, source)
    ramps = {**profile.ramps, **{Kind(k): ramp for k in kinds}}
    limit = None
    if interval_um is not None and all(math.isfinite(v) and v > 0 for v in interval_um):
        limit = (threshold_um, min(interval_um[0], threshold_um), max(interval_um[1], threshold_um))
    return replace(profile, name=source, ramps=ramps, from_tasting=True, limit_um=limit, tasted=tuple(kinds))
