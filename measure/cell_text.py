"""Text of a table's cells that no spreadsheet runs as a formula, and back."""

# a spreadsheet would run text that starts so as a formula
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def safe_text(text: str) -> str:
    """Return text that no spreadsheet will run as a formula (a quote mark is put before it).

    Examples
    --------
    >>> safe_text("=1+1"), safe_text("pass 3")
    ("'=1+1", 'pass 3')
    """
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def unquoted(text: str) -> str:
    """Return the text `safe_text` was given.

    Examples
    --------
    >>> unquoted("'=1+1"), unquoted("pass 3")
    ('=1+1', 'pass 3')
    """
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_STARTS) else text
