"""Photographs of smears of ground food in oil, as a cheap digital microscope or a phone would give them."""
