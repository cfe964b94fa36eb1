"""Pieces that lie over one another, each given its whole outline."""
