"""The papers of a tasting session as files, and answers typed into a table read back."""

import csv
import json
from pathlib import Path

from measure.errors import InvalidInput
from measure.judge.panel_session import PanelPlan, with_answer
from measure.output.tables import write_csv
from measure.output.worksheets import write_key, write_worksheets
from measure.safe_write import write_text


def write_papers(folder: Path, plan: PanelPlan, name: str = "") -> tuple[Path, ...]:
    """Write worksheets.pdf, key.pdf, answers.csv (to be filled in) and plan.json; return their paths."""
    paths = tuple(folder / n for n in ("worksheets.pdf", "key.pdf", "answers.csv", "plan.json"))
    write_worksheets(paths[0], plan, name)
    write_key(paths[1], plan, name)
    servings = plan.servings
    write_csv(
        paths[2],
        {
            "plate": list(range(1, len(servings) + 1)),
            "assessor": [s.assessor for s in servings],
            "round": [s.round for s in servings],
            "codes": [" ".join(s.codes) for s in servings],
            "answer": [""] * len(servings),
        },
    )
    write_text(paths[3], json.dumps(plan.to_json(), ensure_ascii=False, indent=1) + "\n")
    return paths


def read_rows(path: Path | str) -> list[dict[str, str]]:
    """Return the rows of a CSV table by the names of its heading.

    Raises
    ------
    InvalidInput
        If the file cannot be read, is empty, or a row has more or fewer cells than the heading.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InvalidInput(f"There is no file '{path}'.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidInput(f"'{path}' cannot be read as a CSV table in UTF-8.") from error
    lines = text.splitlines()
    if len([line for line in lines if line.strip()]) < 2:
        raise InvalidInput(f"'{path.name}' needs a heading and at least one row.")
    delimiter = max(";\t,", key=lines[0].count)
    heads = [h.strip() for h in next(csv.reader([lines[0]], delimiter=delimiter))]
    rows = []
    for number, cells in enumerate(csv.reader(lines[1:], delimiter=delimiter), start=2):
        if not any(c.strip() for c in cells):
            continue
        if len(cells) != len(heads):
            raise InvalidInput(
                f"'{path.name}' row {number} has {len(cells)} cells, the heading {len(heads)}."
            )
        rows.append({h: c.strip() for h, c in zip(heads, cells, strict=True)})
    return rows


def read_answers(path: Path | str, plan: PanelPlan) -> dict[str, object]:
    """Return the answers of a filled-in answer table.

    Raises
    ------
    InvalidInput
        Naming the row at fault.
    """
    answers: dict[str, object] = {}
    name, answered = Path(path).name, set[int]()
    for number, row in enumerate(read_rows(path), start=2):
        if "plate" not in row or "answer" not in row:
            raise InvalidInput(f"'{name}' needs the columns 'plate' and 'answer'.")
        plate = int(row["plate"]) - 1 if row["plate"].isdigit() else -1
        if not 0 <= plate < len(plan.servings):
            raise InvalidInput(f"'{name}' row {number}: there is no plate '{row['plate']}' in the plan.")
        if plate in answered:
            raise InvalidInput(f"'{name}' row {number}: plate {plate + 1} is answered twice; keep one.")
        if row["answer"]:
            answered.add(plate)
        try:
            answers = with_answer(answers, plan, plate, row["answer"])
        except InvalidInput as error:
            raise InvalidInput(f"'{name}' row {number}: {error.text}") from None
    return answers
