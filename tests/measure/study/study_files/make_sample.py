"""Make the sample file of the present format; run once when a format is released, never for an older one."""

from pathlib import Path

from measure.model import Scale
from measure.study import schema
from measure.study.records import Batch, Slide, Tasting
from measure.study.study import Study
from tests.measure.study.builders import particles, picture, result


def main() -> None:
    path = Path(__file__).with_name(f"format {schema.MAJOR}.{schema.MINOR}.gritline")
    with Study.create(path) as study:
        study.who = "sample"
        scale = study.add_scale(Scale(0.25, 0.0002, "10x"), b"ruling", "ruling.png")
        batches = [study.add_batch(Batch(f"pass {n}", "hazelnut, salt", passes=n)) for n in (1, 3)]
        slide = study.add_slide(Slide(batches[0], "a", 50.0, "sunflower oil", 30.0))
        fields = study.add_fields(
            [picture(f"{i}.png", batch_id=b, scale_id=scale) for i, b in enumerate(batches)]
        )
        study.update_field(fields[0], slide_id=slide)
        for place, field_id in enumerate(fields):
            study.store_result(field_id, result(12 + place, seed=place))
        study.replace_particles(fields[0], [3], particles(2, seed=9), "Cut particle 3")
        study.undo()
        study.set_kind(fields[1], [1, 2], 2)
        study.add_tasting(Tasting("triangle", tuple(batches), results={"right": 9, "of": 18}))
        study.set_setting("felt_profile", {"kernel": [20.0, 40.0]})


if __name__ == "__main__":
    main()
