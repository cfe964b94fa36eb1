"""Where the sample pictures are: beside the program in a checkout, inside it when installed."""

from pathlib import Path

_HALF_DONE = "-in-work"


def sample_pictures() -> Path:
    """Return the folder of the sample pictures."""
    inside = Path(__file__).resolve().parent / "sample_images"
    return inside if inside.is_dir() else inside.parent.parent / "sample_images"


def made_sample(folder: Path) -> Path | None:
    """Return the sample study made in a folder before, None where there is none; no half-done one."""
    found = (path for path in sorted(folder.glob("*.gritline")) if not path.stem.endswith(_HALF_DONE))
    return next(found, None)
