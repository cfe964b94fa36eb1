"""Tables, charts and reports."""
