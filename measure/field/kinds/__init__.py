"""What a piece is: kernel, skin, salt or other, with its doubt; and relearning from hand tags."""
