"""See-through pieces with straight sides: facets, crossing rims, sides that go on under others."""
