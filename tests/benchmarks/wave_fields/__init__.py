"""Bright-field pictures by partially coherent imaging of solid bodies, with known truth."""
