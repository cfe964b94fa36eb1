"""Drawn micrographs with known truth, for the demo, the tests and the accuracy benchmark."""

from measure.render.draw import render_blank, render_field
from measure.render.recipe import Recipe, Rendered, TruthPiece

__all__ = ["Recipe", "Rendered", "TruthPiece", "render_blank", "render_field"]
