"""Array, mask and polygon work that all rooms share; knows nothing of pieces or light."""
