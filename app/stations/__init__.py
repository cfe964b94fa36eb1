"""The steps of the work in the window, one module each."""
