"""The end of the report: method, settings, hand edits, picture files, cautions."""

import re
from collections import Counter
from itertools import groupby

import numpy as np

from measure import __version__
from measure.flags import FLAGS, reason_words
from measure.judge.serving import CAUTIONS as TASTING_CAUTIONS
from measure.model import ORIGINS
from measure.output.overlapping import kept_links, seen_once_share
from measure.output.paste_seen import frame_area_px2
from measure.output.report_facts import FieldFacts, ReportFacts, finite, scale_unstated
from measure.output.report_parts import bullets, facts, table, text

# actions whose first word says too little
_ACTIONS = (
    (r"Set aside\b", "Set aside"),
    (r"Count .* again$", "Count again"),
    (r"Find .* right$", "Find a piece right"),
    (r"Find [0-9]", "Find more or fewer pieces"),
    (r"Find fields", "Find copies and overlaps"),
    (r"(Add to|Take from) the edge\b", "Move an edge"),
    (r"Take in\b", "Take in a table"),
    (r"Take\b", "Take with a camera"),
    (r"Answer\b", "Answer of a tasting"),
    (r"Back to\b", "Back to the automatic result"),
    (r"Leave\b", "Leave out an area"),
    (r"Outline\b", "Outline for a spot check"),
    (r"(Change the specification|Use the limit of a tasting|Close the tasting session)", ""),
    (r"(Change \w+)", ""),
)

CAUTIONS = (
    "Sizes and a verdict say nothing about microbes, mould toxins, allergens or other hazards. "
    "Follow local food law and a food-safety plan (HACCP), and ask an accredited laboratory.",
    "Allergens: nuts, peanut and sesame can cause severe or fatal reactions; heat does not generally remove "
    "this. Declare them and prevent cross-contact (Codex CXC 80-2020; national food authority).",
    "Dry, fatty pastes let Salmonella survive for long, and little of it makes ill; fine grinding does not "
    "change that (Codex CXC 75-2015).",
    "Aflatoxins are not visible by this method; limits change, look up those in force where you are.",
    "Glass: keep slides and cover glasses away from production and tasting, and count them in and out.",
    "Bright, hard, insoluble grains that are not salt may be stone or metal from the mill: stop, and "
    "have them examined.",
    "Diluted, oiled or photographed material is waste: never back into food, never tasted.",
)


def method(report: ReportFacts) -> list:
    """Return what a report of static image analysis should state (in the spirit of ISO 13322-1)."""
    shares = _shares(report)
    rows = [
        ("Quantity", "area-equivalent diameter x_A = sqrt(4 A / pi) of each whole piece in projection; "
         "distributions by number (r = 0) and by volume (r = 3) after ISO 9276-1 and 9276-2"),
        ("Magnification", "; ".join(_magnification(report))),
        ("Measurement frame", _frame(report)),
        *_measuring(report, shares["touching"]),
        ("Lower limit", _limits(report)),
        ("Counted", f"{shares['counted']} of {shares['found']} pieces found, "
         f"on {_fields_words(len(report.fields))}"),
        ("Excluded", _excluded(report)),
        ("Flagged", f"{shares['flagged']} of the counted pieces carry a flag ({shares['flags']})"),
        ("Volumes", "; ".join(report.models.describe())),
        ("Intervals", "95 %, from resampling fields (or pieces where there is one field), with the coarse "
         "pieces too rare to be among those seen (log-normal continuation of the coarse end, limits by "
         "profile likelihood) and the uncertainties of the scale and of the edges (JCGM 100)"),
        ("Sampling", "how pieces got onto the slide is not controlled by this program: dilution, spreading "
         "and choice of fields are those of the record above"),
        ("Software", f"Gritline {__version__}"),
    ]  # fmt: skip
    return [
        text("Method", "heading"),
        text("After what ISO 13322-1 asks to be reported; no claim of conformity is made.", "small"),
        facts(rows),
    ]


def _measuring(report: ReportFacts, touching: str) -> list[tuple[str, str]]:
    """How pieces were found in pictures; of pieces taken from tables nobody here knows."""
    taken = sum(f.from_table for f in report.fields)
    tables = f"of {_fields_words(taken)} taken from tables it is as their maker did it, not known here"
    if taken and taken == len(report.fields):
        return [("Finding, edges, frame", tables)]
    rows = [
        ("Edge rule", "pieces that meet the frame or an area left out are listed, not counted; each whole "
         "piece is weighted by 1/P, P being the chance that a piece of its Feret diameters lies wholly in "
         "the frame (Miles-Lantuejoul)"),
        ("Threshold rule", "a piece is found at a low level set by the noise of the oil, in colour and "
         "lightness against the local oil; its edge is then placed at half of its own contrast, to a "
         "fraction of a pixel. See-through pieces are filled to their outer edge"),
        ("Blank", ", ".join(b.name for b in report.blanks) or "none; light evened out from the oil itself"),
        ("Touching pieces", f"cut by the shape of the neck and by colour; {touching} of the "
         "counted pieces come from clusters"),
    ]  # fmt: skip
    return [*rows, ("Tables", f"all this holds of pictures measured here; {tables}")] if taken else rows


def _fields_words(count: int) -> str:
    return "1 field" if count == 1 else f"{count} fields"


def _magnification(report: ReportFacts) -> list[str]:
    return [
        f"{r.scale.zoom or f'scale {r.id}'}: " + (
            "not stated by the table" if scale_unstated(r.scale) else
            f"{r.scale.um_per_px:.6g} µm per px, 10 px = {10 * r.scale.um_per_px:.3g} µm"
        )
        for r in report.scales
    ]  # fmt: skip


def _frame(report: ReportFacts) -> str:
    shares = seen_once_share([f.row for f in report.fields], kept_links(report.study))
    framed = [f for f in report.fields if not f.frame_unknown]
    unknown = len(report.fields) - len(framed)
    beyond = f"of {_fields_words(unknown)} taken from tables it is not known" if unknown else ""
    if not framed:
        return beyond
    total = sum(frame_area_px2(f.row) * f.scale.um_per_px**2 * shares.get(f.row.id, 1.0) for f in framed)
    sizes = Counter((f.row.width_px, f.row.height_px) for f in framed)
    words = ", ".join(f"{w} × {h} px ({_fields_words(n)})" for (w, h), n in sorted(sizes.items()))
    zones = sum(bool(f.row.result_zones) for f in framed)
    less = f"; areas are left out of {_fields_words(zones)}" if zones else "; no areas left out"
    once = f"; {len(shares)} fields overlap, what they share is counted once" if shares else ""
    told = f"the whole picture, {words}; {total / 1e6:.4g} mm² altogether{less}{once}"
    return f"{told}; {beyond}" if beyond else told


def _limits(report: ReportFacts) -> str:
    found = {finite(b.summary.smallest_um) for b in report.sized if np.isfinite(b.summary.smallest_um)}
    words = ", ".join(sorted(found, key=float))
    if words and all(f.from_table for f in report.fields):
        return f"{words} µm, as the tables state it; figures by number depend on it"
    return (
        f"{words} µm: the size asked for in the settings, or 10 px where none is asked for. Finer pieces are "
        "not counted, so figures by number depend on it"
        if words
        else "not known"
    )


def _excluded(report: ReportFacts) -> str:
    counts: Counter[str] = Counter()
    for f in report.fields:
        out = ~f.counted
        counts.update(r or "below the lower limit" for r in f.table["set_aside_reason"][out].tolist())
    words = [f"{n} {reason_words(r)}" for r, n in counts.most_common()]
    return ", ".join(words) or "none"


def _shares(report: ReportFacts) -> dict[str, str]:
    found = sum(len(f.counted) for f in report.fields)
    counted = sum(int(f.counted.sum()) for f in report.fields)
    touching = sum(int(f.table["touching"][f.counted].sum()) for f in report.fields)
    flags = [t for f in report.fields for t in f.table["flags"][f.counted].tolist()]
    names = Counter(n for t in flags for n in re.findall(r"\w+", t) if n in FLAGS)
    listed = ", ".join(f"{n.replace('_', ' ')} {c}" for n, c in names.most_common())
    share = f"{100 * touching / counted:.0f} %" if counted else "none"
    return {
        "found": str(found), "counted": str(counted), "touching": share,
        "flagged": str(sum(bool(t) for t in flags)), "flags": listed or "none",
    }  # fmt: skip


def settings(report: ReportFacts) -> list:
    """Return every setting that shaped the results."""
    rows = []
    keyed = sorted(report.fields, key=_settings_key)
    for key, group in groupby(keyed, key=_settings_key):
        smallest, sensitivity, cut, scale_name, blank = key
        rows.append([scale_name, smallest, sensitivity, cut, blank, str(len(list(group)))])
    head = ("scale", "smallest", "sensitivity", "cut strength", "blank", "fields")
    kept = report.study.setting("specification", None)
    learned = report.study.setting("learned_kinds", None)
    more = [
        ("Volume models", "; ".join(report.models.describe())),
        ("Felt profile", f"{report.profile.name} (in full under Verdict)"),
        ("Verdict limits", f"not felt up to {100 * report.profile.not_felt_share:g} %, felt from "
         f"{100 * report.profile.felt_share:g} % of the volume"),
        ("Specification", "; ".join(_clauses(kept)) if kept else "none"),
        ("Kinds", "relearned from hand tags of this study" if learned else "as the program comes"),
        ("Resampling", "; ".join(sorted({f"{b.summary.resamples} resamples, seed {b.summary.seed}"
                                         for b in report.sized}))),
    ]  # fmt: skip
    return [text("Settings", "heading"), table(head, rows, (2.5, 2, 1.5, 1.5, 3, 1)), facts(more)]


def _settings_key(f: FieldFacts) -> tuple[str, ...]:
    s = f.row.settings
    name = f.scale.zoom or f"scale {f.scale_id}"
    if s is None:
        return ("", "", "", name, "")
    smallest = "10 px" if s.smallest_um is None else f"{s.smallest_um:g} µm"
    if f.from_table:
        return ("" if s.smallest_um is None else smallest), "", "", name, ""
    return smallest, f"{s.sensitivity:g}", f"{s.cut_strength:g}", name, "yes" if f.row.blank_id else "none"


def _clauses(kept: str) -> list[str]:
    from measure.judge.specification import Specification

    return [c.words for c in Specification.from_json(kept).clauses] or ["none"]


def edits(report: ReportFacts) -> list:
    """Return how much was done by hand: by piece, and by action of the audit trail."""
    found = sum(len(f.counted) for f in report.fields)
    origins = sum((f.origins for f in report.fields), np.zeros(5, dtype=int))
    kinds = sum(f.kinds_by_hand for f in report.fields)
    made = ", ".join(
        f"{int(n)} {word}" for word, n in zip(ORIGINS, origins.tolist(), strict=True) if n and word != "found"
    )
    said = (
        f"Pieces now on record: {found}; kind set by hand: {kinds}; outlines other than as "
        f"found: {made or 'none'} (cut and joined ones also come from the automatic measuring)."
    )
    counts: dict[str, list] = {}
    for entry in reversed(report.edits):
        if entry.state == "note":
            continue
        row = counts.setdefault(_action(entry.text), [0, 0, entry.made, entry.made])
        row[0 if entry.state in ("done", "rescued") else 1] += 1
        row[3] = entry.made
    rows = [[name, str(r[0]), str(r[1]), r[2][:16], r[3][:16]] for name, r in counts.items()]
    head = ("action", "in force", "taken back", "first", "last")
    return [text("Hand edits and other actions", "heading"), text(said), table(head, rows, (4, 1, 1.2, 2, 2))]


def _action(words: str) -> str:
    """Return the action without what it was done to.

    Examples
    --------
    >>> _action("Cut piece 12"), _action("Set aside piece 3: dust"), _action("Count piece 3 again")
    ('Cut', 'Set aside', 'Count again')
    >>> _action("Find piece 4 right"), _action("Measure a.png")
    ('Find a piece right', 'Measure')
    """
    for pattern, told in _ACTIONS:
        found = re.match(pattern, words)
        if found:
            return told or found.group(1)
    return (words.split(":")[0].split() or ["Change"])[0]


def files(report: ReportFacts) -> list:
    """Return the fingerprint of every picture file."""
    rows = [(f.row.name, f.row.sha256) for f in report.fields]
    rows += [(b.name, b.sha256) for b in report.blanks]
    shown = [[name, digest or "no picture: imported table"] for name, digest in rows]
    return [
        text("Picture files", "heading"),
        text("SHA-256 of each file as it came; the study keeps the files unchanged.", "small"),
        table(("file", "SHA-256"), shown, (2.4, 5), right_from=9),
    ]


def cautions(report: ReportFacts) -> list:
    """Return what this report does not say, and whom to ask."""
    said = list(CAUTIONS)
    if "tasting" in report.sections:
        said += [s for s in TASTING_CAUTIONS if s.startswith(("Tasting", "Taste"))]
    return [text("Cautions", "heading"), *bullets(said)]
