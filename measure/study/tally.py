"""Counting the particles of a field by kind, quickly, for lists that must not read particles."""

import sqlite3

from measure import flags
from measure.study.records import FieldCounts

_AT_FRAME = flags.bits("touches_frame", "meets_zone")


def tally(con: sqlite3.Connection, field_id: int) -> list:
    """Return [particles, set aside, at the frame, [counted by kind code]]."""
    total = aside = at_frame = 0
    by_kind = [0] * len(FieldCounts().by_kind)
    rows = con.execute(
        "SELECT min(max(coalesce(kind, 0), 0), ?), coalesce(set_aside, '') <> '', "
        "coalesce(flags & ?, 0) <> 0, count(*) FROM particle WHERE field_id = ? GROUP BY 1, 2, 3",
        (len(by_kind) - 1, _AT_FRAME, field_id),
    )
    for kind, is_aside, is_at_frame, count in rows:
        total += count
        if is_aside:
            aside += count
        elif is_at_frame:
            at_frame += count
        else:
            by_kind[kind] += count
    return [total, aside, at_frame, by_kind]
