"""Gritline's measuring core: pictures in, particles, sizes and verdicts out. Never imports Qt."""

__version__ = "0.1.0"
