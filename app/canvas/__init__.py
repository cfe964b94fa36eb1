"""The picture, its outlines and the hand tools."""
