"""The one-file study: every picture, particle and hand edit, on disk the moment it is made."""
