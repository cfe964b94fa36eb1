"""Where the sample pictures are: beside the program in a checkout, inside it when installed."""

from pathlib import Path


def sample_pictures() -> Path:
    """Return the folder of the sample pictures."""
    inside = Path(__file__).resolve().parent / "sample_images"
    return inside if inside.is_dir() else inside.parent.parent / "sample_images"
