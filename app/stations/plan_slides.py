"""Slides made from a plan of the count: film, oil and places of each, in one step."""

from dataclasses import dataclass

from app.session import Session
from app.stations.slide_plan import SETTING
from measure.errors import InvalidInput
from measure.sizes.slide_plan import SlidePlan, plan_slide
from measure.study.records import Batch, Slide

MOST_FIELDS = 400  # that the card of a slide can hold


@dataclass(frozen=True)
class SlidesWanted:
    """How many slides, and what each is like.

    Attributes
    ----------
    slides, fields_each : int
    field_mm : (float, float)
    film_um, smallest_um : float
    oil_mass : float
        Parts of oil by mass to one of paste.
    """

    slides: int
    fields_each: int
    field_mm: tuple[float, float]
    film_um: float
    smallest_um: float
    oil_mass: float

    def plans(self) -> list[SlidePlan]:
        """Return the places of each slide, each from a random start of its own.

        Raises
        ------
        InvalidInput
            If so many fields do not fit on a slide.
        """
        if self.fields_each > MOST_FIELDS:
            raise InvalidInput(
                f"{self.fields_each} fields on one slide are more than anyone takes; plan more slides, "
                "accept a wider interval, or choose a figure that hangs less on the largest pieces."
            )
        return [
            plan_slide(
                self.fields_each, field_mm=self.field_mm, film_um=self.film_um, smallest_um=self.smallest_um
            )
            for _ in range(self.slides)
        ]


def make_slides(session: Session, batch_id: int | None, wanted: SlidesWanted, text: str) -> int:
    """Add the slides to a batch, a new one for None; return the id of the batch. One undo step."""
    study, plans = session.open_study, wanted.plans()
    with study.one_step(text):
        if batch_id is None:
            batch_id = study.add_batch(Batch(_free("Batch", {row.batch.name for row in study.batches()})))
        names = {row.slide.name for row in study.slides() if row.slide.batch_id == batch_id}
        kept = dict(study.setting(SETTING, {}) or {})
        for plan in plans:
            name = _free("Slide", names)
            names.add(name)
            slide = Slide(batch_id, name, dilution=float(round(wanted.oil_mass)), film_um=wanted.film_um)
            kept[str(study.add_slide(slide))] = plan.as_json()
        study.set_setting(SETTING, kept, text)
    return batch_id


def _free(word: str, taken: set[str]) -> str:
    return next(f"{word} {n}" for n in range(1, len(taken) + 2) if f"{word} {n}" not in taken)
