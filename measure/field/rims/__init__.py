"""See-through pieces, known by their rims."""
