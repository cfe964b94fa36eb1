"""Where on a slide to take fields: systematic steps from a random start, settling time and advice."""

import math
import random
from collections.abc import Mapping
from dataclasses import MISSING, asdict, dataclass, replace
from typing import Any

from measure.errors import InvalidInput
from measure.sizes.cautions import TARGET_COVER

# kg/m3 and Pa s; oil at about 20 degC, kernel and salt as in common handbook tables (from memory)
OIL_KG_M3, OIL_PA_S = 915.0, 0.060
KERNEL_KG_M3 = 1350.0
_G = 9.81


@dataclass(frozen=True)
class SlidePlan:
    """Fields to take on one slide, in the order to take them.

    Attributes
    ----------
    width_mm, height_mm : float
        Cover glass.
    margin_mm : float
        Kept away from its edge, where the film is uneven.
    columns, rows : int
        Steps across and down.
    start_mm : (float, float)
        The random start: place of the first field's middle.
    step_mm : (float, float)
        Between neighbours.
    seed : int
        Of the random start, so that the plan can be drawn again.
    done : tuple of int
        Places (0 first) whose field was taken.
    field_mm : (float, float)
        Width and height of one field.
    film_um, smallest_um : float
        For the time to wait before the first field.
    """

    width_mm: float
    height_mm: float
    margin_mm: float
    columns: int
    rows: int
    start_mm: tuple[float, float]
    step_mm: tuple[float, float]
    seed: int
    done: tuple[int, ...] = ()
    field_mm: tuple[float, float] = (1.2, 0.9)
    film_um: float = 50.0
    smallest_um: float = 5.0

    @property
    def places_mm(self) -> tuple[tuple[float, float], ...]:
        """Middles of the fields, x to the right and y down from the cover's upper left corner.

        Rows are walked to and fro, so that the stage moves one step at a time.
        """
        found = []
        for row in range(self.rows):
            across = range(self.columns) if row % 2 == 0 else range(self.columns - 1, -1, -1)
            y = self.start_mm[1] + row * self.step_mm[1]
            found += [(self.start_mm[0] + column * self.step_mm[0], y) for column in across]
        return tuple(found)

    @property
    def next_place(self) -> int | None:
        """The first place not yet done; None when all are."""
        return next((i for i in range(self.columns * self.rows) if i not in self.done), None)

    def with_done(self, place: int, done: bool = True) -> "SlidePlan":
        """Return the plan with one place marked as taken, or as open again."""
        if not 0 <= place < self.columns * self.rows:
            raise InvalidInput(
                f"There is no place {place + 1} on this plan of {self.columns * self.rows} fields."
            )
        kept = set(self.done) | {place} if done else set(self.done) - {place}
        return replace(self, done=tuple(sorted(kept)))

    def as_json(self) -> dict:
        """Return plain values to keep."""
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping) -> "SlidePlan":
        """Return the plan kept by `as_json`.

        Raises
        ------
        InvalidInput
            If the values are none.
        """
        try:
            told = [name for name, one in cls.__dataclass_fields__.items() if one.default is not MISSING]
            known: dict[str, Any] = {
                n: values[n] for n in cls.__dataclass_fields__ if n in values or n not in told
            }
            names = [name for name in ("start_mm", "step_mm", "field_mm") if name in known]
            known |= {name: tuple(float(v) for v in known[name]) for name in names}
            known["done"] = tuple(int(i) for i in known.get("done", ()))
            return cls(**known)
        except (KeyError, TypeError, ValueError) as error:
            raise InvalidInput("The plan of this slide cannot be read; plan it anew.") from error


def plan_slide(
    fields: int,
    *,
    width_mm: float = 22.0,
    height_mm: float = 22.0,
    margin_mm: float = 2.0,
    field_mm: tuple[float, float] = (1.2, 0.9),
    seed: int | None = None,
    film_um: float = 50.0,
    smallest_um: float = 5.0,
) -> SlidePlan:
    """Spread fields evenly over a cover glass from a random start.

    Systematic sampling with a random start gives every place of the film the same chance (Cochran, Sampling
    Techniques, 1977, ch. 8); choosing "good" places does not.

    Parameters
    ----------
    fields : int
        Wanted; the plan holds at least so many, in full rows.
    width_mm, height_mm, margin_mm : float
        Cover glass, and what to keep away from its edge.
    field_mm : (float, float)
        Width and height of one field, so that fields neither overlap nor leave the glass.
    seed : int, optional
        Of the random start; drawn when not given.
    film_um, smallest_um : float
        Kept with the plan, for the time to wait.

    Returns
    -------
    SlidePlan

    Raises
    ------
    InvalidInput
        If a number cannot be, or so many fields do not fit.
    """
    _check(fields, width_mm, height_mm, margin_mm, field_mm)
    wide, high = width_mm - 2 * margin_mm, height_mm - 2 * margin_mm
    columns = max(1, round(math.sqrt(fields * wide / high)))
    rows = math.ceil(fields / columns)
    step = (wide / columns, high / rows)
    if step[0] < field_mm[0] or step[1] < field_mm[1]:
        most = int(wide // field_mm[0]) * int(high // field_mm[1])
        raise InvalidInput(
            f"{fields} fields of {field_mm[0]:.2g} x {field_mm[1]:.2g} mm do not fit side by side; no more "
            f"than about {most} do. Plan several slides."
        )
    seed = random.SystemRandom().randrange(2**31) if seed is None else int(seed)
    chance = random.Random(seed)
    # the start lies anywhere in the first step, as far as the field stays on the glass
    left, top = (
        margin_mm + size / 2 + chance.random() * (one - size)
        for one, size in zip(step, field_mm, strict=True)
    )
    return SlidePlan(
        width_mm, height_mm, margin_mm, columns, rows, (left, top), step, seed,
        field_mm=field_mm, film_um=film_um, smallest_um=smallest_um,
    )  # fmt: skip


def field_size_mm(width_px: int, height_px: int, um_per_px: float) -> tuple[float, float]:
    """Return the size of a field on the slide.

    Examples
    --------
    >>> field_size_mm(1600, 1200, 0.5)
    (0.8, 0.6)
    """
    return width_px * um_per_px / 1000.0, height_px * um_per_px / 1000.0


def _check(fields: int, width: float, height: float, margin: float, field: tuple[float, float]) -> None:
    if not 1 <= fields <= 400:
        raise InvalidInput(f"A slide takes 1 to 400 fields, not {fields}.")
    for name, value in (
        ("width", width),
        ("height", height),
        ("field width", field[0]),
        ("field height", field[1]),
    ):
        if not (math.isfinite(value) and 0 < value <= 200):
            raise InvalidInput(f"The {name} must be more than 0 and at most 200 mm, not {value:g}.")
    if not margin >= 0 or min(width, height) - 2 * margin < max(field):
        raise InvalidInput(
            f"With a margin of {margin:g} mm no field fits on this cover glass; make it smaller."
        )


def settling_speed_um_s(
    diameter_um: float,
    solid_kg_m3: float = KERNEL_KG_M3,
    oil_kg_m3: float = OIL_KG_M3,
    oil_pa_s: float = OIL_PA_S,
) -> float:
    """Speed at which a sphere sinks in oil, Stokes: (rho_s - rho_o) g d^2 / (18 eta).

    Examples
    --------
    >>> round(settling_speed_um_s(10.0), 3), round(settling_speed_um_s(30.0, 2165.0), 2)
    (0.395, 10.22)
    """
    d = diameter_um * 1e-6
    return (solid_kg_m3 - oil_kg_m3) * _G * d**2 / (18.0 * oil_pa_s) * 1e6


def settling_time_s(film_um: float, smallest_um: float) -> float:
    """Seconds until kernel pieces of the smallest size lie on the glass, all from the top of the film.

    Examples
    --------
    >>> round(settling_time_s(50.0, 5.0)), round(settling_time_s(50.0, 10.0))
    (506, 127)
    """
    if not (film_um > 0 and smallest_um > 0):
        raise InvalidInput("Film and smallest size must be more than 0 µm.")
    return film_um / settling_speed_um_s(smallest_um)


def sampling_advice(film_um: float, smallest_um: float) -> tuple[str, ...]:
    """Return what to do before the first field, a sentence each."""
    wait = settling_time_s(film_um, smallest_um)
    words = f"{wait / 60:.0f} min" if wait >= 120 else f"{max(wait, 1):.0f} s"
    return (
        "Stir the jar to the bottom: oil rises and coarse pieces sink.",
        "Take several dabs from different depths and thin each by itself; make a slide of each.",
        f"Aim at {100 * TARGET_COVER:.1f} % of the field covered: about 5 % of the pieces then touch.",
        f"Wait {words} before the first field, so that kernel pieces of {smallest_um:g} µm in a film of "
        f"{film_um:g} µm lie in one plane (Stokes; a cold or thick oil needs longer).",
        "Take the fields where the map says and none because it looks good.",
    )
