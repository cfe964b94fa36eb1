"""Ways to cut what was found as one: at necks, along lines, by colour, by form; what speaks for a cut."""
