"""The window and the command line."""
