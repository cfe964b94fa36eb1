"""Drawn micrographs with known truth, for the demo, the tests and the accuracy benchmark."""
