"""Item models over the study."""
