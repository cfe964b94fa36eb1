"""The light of a field and the ground the pieces lie on: oil, shade, haze, plates, lamps."""
