"""Several pictures of one place: repeats, walks, focus stacks."""
