"""Test pictures put together from real pieces on real grounds, with known outlines."""
