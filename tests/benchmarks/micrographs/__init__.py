"""Micrographs of small particles, drawn from how transmission and scanning electron microscopes see."""
