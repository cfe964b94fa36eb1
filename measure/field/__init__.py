"""One picture in, particles out."""
