"""A stage micrometer's picture in, micrometres per pixel with its uncertainty out."""
