"""What is in the picture and not in the smear: borders, nets, scales, ghosts, fringes, drawn words."""
