"""Particles in, size distributions with intervals out."""
