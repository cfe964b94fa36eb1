"""Areas of a picture to leave out, as typed on the command line."""

from collections.abc import Sequence

from app.cli.options import refuse


def zones_of(typed: Sequence[str]) -> tuple:
    """Return rectangles typed as ``x0,y0,x1,y1`` px as polygons (4, 2).

    Raises
    ------
    InvalidInput
        If one is no rectangle.
    """
    import numpy as np

    zones = []
    for text in typed:
        try:
            numbers = [float(part) for part in text.split(",")]
        except ValueError:
            numbers = []
        good = len(numbers) == 4 and all(abs(n) < 1e6 for n in numbers)
        refuse(
            not good or numbers[0] >= numbers[2] or numbers[1] >= numbers[3] or min(numbers) < 0,
            f"--exclude {text} is no rectangle; give left,top,right,bottom in px, as in 480,400,640,480.",
        )
        left, top, right, bottom = numbers
        zones.append(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    return tuple(zones)
