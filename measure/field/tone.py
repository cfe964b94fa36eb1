"""The tone curve of a picture: linear light and stored values."""

import numpy as np


def decoded(stored: np.ndarray) -> np.ndarray:
    """Linear light of stored values, both 0..1 (IEC 61966-2-1)."""
    return np.where(stored <= 0.04045, stored / 12.92, ((np.maximum(stored, 0.0) + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    """Stored values of linear light, both 0..1 (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0.0) ** (1.0 / 2.4) - 0.055)
