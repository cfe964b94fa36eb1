"""Corrections by hand."""
