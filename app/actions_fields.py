"""What the user can do in the Fields station."""

from app.action_row import ActionRow

FIELDS = (
    ActionRow("fields.add", "Add pictures…", ("Ctrl+I",), "fields", "Choose picture files of your smears"),
    ActionRow(
        "fields.add_folder",
        "Add a folder of pictures…",
        ("Ctrl+Shift+I",),
        "fields",
        "The folder becomes a batch of its name",
    ),
    ActionRow(
        "fields.add_table",
        "Add a table of pieces…",
        ("Ctrl+Alt+I",),
        "fields",
        "A CSV of sizes becomes a batch without pictures",
    ),
    ActionRow("fields.new_batch", "New batch", ("Ctrl+B",), "fields", "One batch for each grind you compare"),
    ActionRow("fields.measure", "Measure the chosen fields", ("M",), "fields", "With the settings shown"),
    ActionRow(
        "fields.measure_all",
        "Measure all fields not yet measured",
        ("Shift+M",),
        "fields",
        "Every field that has no pieces yet",
    ),
    ActionRow("fields.previous", "Previous field", ("PgUp",), "fields"),
    ActionRow("fields.next", "Next field", ("PgDown",), "fields"),
    ActionRow("fields.outlines", "Outlines", ("O",), "fields", "Show what was found", checkable=True),
    ActionRow(
        "fields.preview",
        "Preview of the settings",
        ("P",),
        "fields",
        "Show at once what the settings would find",
        checkable=True,
    ),
    ActionRow(
        "fields.leave_out",
        "Leave out an area",
        ("X",),
        "fields",
        "Drag over a burnt-in bar or a label; nothing is counted there. Click an area to count it again",
        checkable=True,
    ),
    ActionRow(
        "fields.leave_out_all",
        "Leave the same areas out of all of this zoom",
        ("Ctrl+Shift+X",),
        "fields",
        "Every field of this scale and picture size gets the areas of this one",
    ),
    ActionRow(
        "fields.leave_out_none",
        "Count the whole picture again",
        ("Shift+X",),
        "fields",
        "Nothing is left out of this field any more, an even border round the view neither",
    ),
    ActionRow(
        "fields.leave_out_border",
        "Leave out the border round the view",
        (),
        "fields",
        "Where it was counted: an even black or white border is left out by itself again",
    ),
    ActionRow(
        "fields.plan",
        "Plan dilution and count",
        ("D",),
        "fields",
        "How much oil, how many pieces and fields, before the first picture",
        checkable=True,
    ),
    ActionRow(
        "fields.camera",
        "Take fields with a camera",
        ("K",),
        "fields",
        "Live picture with outlines, focus and cover",
        checkable=True,
    ),
    ActionRow("fields.take", "Take this field", ("T",), "fields", "Keep the live picture as a field"),
    ActionRow(
        "fields.marks", "Look for burnt-in marks", ("B",), "fields", "Bars, words and panels in the picture"
    ),
    ActionRow(
        "fields.repeats",
        "Find copies and overlaps",
        ("R",),
        "fields",
        "Among the chosen fields, or all of the batch; shared pieces count once",
    ),
    ActionRow(
        "fields.join", "Join into one wide field", ("J",), "fields", "Of the chosen, overlapping fields"
    ),
    ActionRow(
        "fields.fuse", "Fuse heights of focus", ("F",), "fields", "Of the chosen pictures of one field"
    ),
    ActionRow(
        "fields.blank",
        "Work out blank oil from fields",
        ("L",),
        "fields",
        "The light between the pieces of the chosen fields, or of all fields of this zoom",
    ),
    ActionRow("fields.remove", "Remove the chosen fields", ("Delete",), "fields", "Undo brings them back"),
)
