"""The commands, one module each; none imports Qt.

Each module offers ``add_arguments(parser)`` and ``run(args) -> int`` and keeps heavy imports inside ``run``.
"""

COMMANDS: dict[str, str] = {
    "demo": "measure the sample batches, end to end, into a new study",
    "scale": "find micrometres per pixel from a picture of a stage micrometer",
    "measure": "measure pictures: particles, fields and sizes",
    "blank": "work out the light of the oil from several fields",
    "join": "join overlapping fields into one wide field",
    "fuse": "fuse pictures at several heights of focus into a sharp one",
    "sizes": "size distribution of a particle table, with intervals",
    "compare": "batches side by side, and what more grinding would bring",
    "panel": "tasting worksheets, power and statistics",
    "plan": "pieces, fields and dilution for a wanted error",
    "report": "a study as one PDF that stands alone",
    "mend": "check a study, and rescue what can be read of a damaged one",
    "import": "take a particle table into a study, as a batch without pictures",
    "export": "write a study's tables to a folder",
}

# commands whose name no module can have
_MODULES = {"import": "table_import"}


def module_of(command: str) -> str:
    """Return the module of a command, in full.

    Examples
    --------
    >>> module_of("sizes"), module_of("import")
    ('app.cli.sizes', 'app.cli.table_import')
    """
    return f"{__name__}.{_MODULES.get(command, command)}"
