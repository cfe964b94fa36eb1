"""Test pictures drawn from physics, independent of the program and of its own renderer."""
