"""From the picture to outlines: components of the low level found, taken apart and outlined."""
