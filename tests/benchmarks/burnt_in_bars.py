"""Real burnt-in bars, good and bad: what is found, and what is said once a person has read the label.

Run: python -m tests.benchmarks.burnt_in_bars [folder of blood_film_scalebar]
The bars were measured by hand; the scale is that of the readable bar, 20.00 um over 105 px, which makes the
red cells 6 to 8 um across as they are on a dried film.
"""

import os
import sys
from pathlib import Path

from measure.errors import InvalidInput
from measure.picture_file import read_picture
from measure.scale.burnt_in import find_burnt_in
from measure.scale.cross_check import check_bar, check_tag

UM_PER_PX = 20.0 / 105.0
# picture, length by hand px, what a person reads; several where it cannot be told
CASES = (
    ("64", 105, ("20.00um",)),
    ("94", 105, ("20.00um",)),
    ("314", 41, ("", "6.00um", "8.00um")),
    ("331", 41, ("", "6.00um", "8.00um")),
    ("530", 41, ("",)),
    ("721", 31, ("50.00", "50.00um")),
)


def tags(folder: Path) -> None:
    """Print what files claim of their pixels, held against the scale, and claims with a slip."""
    for path in sorted(folder.rglob("*.jpg")):
        picture = read_picture(path)
        if picture.embedded_um_per_px is not None:
            check = check_tag(picture.embedded_um_per_px, picture.embedded_source, UM_PER_PX)
            print(f"tag of {path.name} -> {check.verdict}: {check.words}")
    for claim, slip in ((UM_PER_PX, "right"), (10 * UM_PER_PX, "ten"), (2.54 * UM_PER_PX, "inches")):
        check = check_tag(claim, "OME-XML", UM_PER_PX)
        print(f"made tag, {slip} -> {check.verdict}: {check.words}")


def main() -> None:
    """Print the table."""
    named = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("GRITLINE_DATA", "../shared/data")
    folder = Path(named)
    tags(folder)
    folder = folder / "blood_film_scalebar" if (folder / "blood_film_scalebar").is_dir() else folder
    for name, by_hand, labels in CASES:
        found = find_burnt_in(read_picture(folder / f"{name}.jpg"))
        bars = ", ".join(f"{bar.length_px:.1f} px" for bar in found.bars) or "none"
        print(f"{name}.jpg: bar found {bars}; by hand {by_hand} px; areas {len(found.zones)}")
        for label in labels if found.bars else ():
            try:
                check = check_bar(found.bars[0], label, UM_PER_PX)
                print(f"   label {label!r:11} -> {check.verdict}: {check.words}")
            except InvalidInput as error:
                print(f"   label {label!r:11} -> asked: {error.text}")


if __name__ == "__main__":
    main()
