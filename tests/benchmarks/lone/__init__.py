"""Lone pieces of many sorts beside truly touching ones of the same sorts, drawn by a hand of its own."""
