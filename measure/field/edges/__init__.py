"""Where the edge of a piece lies, how soft it is, and what the picture shows inside it."""
