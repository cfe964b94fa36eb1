"""A printable map of a slide: where to take fields, which are done, and the sampling advice."""

from pathlib import Path

from measure.output.worksheets import page_text, write_pages
from measure.sizes.slide_plan import SlidePlan, sampling_advice


def write_slide_map(
    path: Path | str,
    plan: SlidePlan,
    name: str,
    *,
    film_um: float | None = None,
    smallest_um: float | None = None,
) -> None:
    """Write the map as a PDF of one page.

    Parameters
    ----------
    path : path
        File to write.
    plan : SlidePlan
    name : str
        Of the slide.
    film_um, smallest_um : float, optional
        For the time to wait; those of the plan by default.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    from reportlab.platypus import Spacer

    places = plan.places_mm
    parts = [
        page_text(f"Fields to take on slide {name}".strip(), 15, bold=True),
        page_text(
            f"Cover glass {plan.width_mm:g} × {plan.height_mm:g} mm seen from above; {len(places)} fields in "
            f"steps of {plan.step_mm[0]:.2f} mm across and {plan.step_mm[1]:.2f} mm down from a random start "
            f"(number {plan.seed}); a field is {plan.field_mm[0]:.2f} × {plan.field_mm[1]:.2f} mm. "
            f"Filled: done ({len(plan.done)})."
        ),
        Spacer(1, 8),
        _drawing(plan),
        Spacer(1, 12),
    ]
    film_um = plan.film_um if film_um is None else film_um
    smallest_um = plan.smallest_um if smallest_um is None else smallest_um
    parts += [page_text(f"{i}. {words}") for i, words in enumerate(sampling_advice(film_um, smallest_um), 1)]
    parts += [Spacer(1, 8), page_text("Place, mm from the upper left corner of the cover glass (x, y):", 10)]
    parts.append(page_text(_list(plan), 9))
    write_pages(path, parts, f"Slide map {name}".strip())


def _list(plan: SlidePlan) -> str:
    """Places as numbers, for a stage with scales."""
    return ";  ".join(f"{i}:\u00a0{x:.1f},\u00a0{y:.1f}" for i, (x, y) in enumerate(plan.places_mm, 1))


def _drawing(plan: SlidePlan) -> object:
    from reportlab.graphics.shapes import Circle, Drawing, Line, Rect, String
    from reportlab.lib.colors import HexColor

    ink, soft = HexColor("#221c18"), HexColor("#8a8077")
    scale = 430.0 / max(plan.width_mm, plan.height_mm)
    width, height = plan.width_mm * scale, plan.height_mm * scale
    drawing = Drawing(width + 30, height + 26)
    base = 22
    drawing.add(Rect(1, base, width, height, fillColor=None, strokeColor=ink, strokeWidth=1.2))
    previous = None
    for x_mm, y_mm in plan.places_mm:
        x, y = 1 + x_mm * scale, base + height - y_mm * scale
        if previous is not None:
            drawing.add(Line(*previous, x, y, strokeColor=soft, strokeWidth=0.4))
        previous = (x, y)
    for place, (x_mm, y_mm) in enumerate(plan.places_mm):
        x, y = 1 + x_mm * scale, base + height - y_mm * scale
        done = place in plan.done
        wide, high = (side * scale for side in plan.field_mm)
        frame = {"fillColor": None, "strokeColor": soft, "strokeWidth": 0.6}
        if max(wide, high) > 17:  # else the mark hides it
            drawing.add(Rect(x - wide / 2, y - high / 2, wide, high, **frame))
        drawing.add(Circle(x, y, 8.5, fillColor=ink if done else HexColor("#ffffff"), strokeColor=ink))
        colour = HexColor("#ffffff") if done else ink
        drawing.add(String(x, y - 2.8, str(place + 1), textAnchor="middle", fontSize=8, fillColor=colour))
    drawing.add(Line(1, 8, 1 + 5 * scale, 8, strokeColor=ink, strokeWidth=2))
    drawing.add(String(6 + 5 * scale, 5, "5 mm", fontSize=8, fillColor=ink))
    return drawing
