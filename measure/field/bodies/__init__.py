"""Solid pieces and threads: their holes, gaps, shadows, tails and folds."""
