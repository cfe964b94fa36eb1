"""Drawn micrographs with known truth, for the demo, the tests and the accuracy benchmark."""

from measure.render.draw import render_blank, render_field
from measure.render.recipe import Recipe, Rendered, TruthPiece
from measure.render.ruling import RenderedRuling, Ruling, render_ruling

__all__ = [
    "Recipe",
    "Rendered",
    "RenderedRuling",
    "Ruling",
    "TruthPiece",
    "render_blank",
    "render_field",
    "render_ruling",
]
