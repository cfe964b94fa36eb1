"""Sizes in, verdicts, comparisons and tasting results out."""
