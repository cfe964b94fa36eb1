"""Fields of ragged, mottled pieces and faint crystals among many fines, drawn by a third hand."""
