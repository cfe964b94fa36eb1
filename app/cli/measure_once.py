"""``gritline measure --count-once``: overlaps among the fields of a run, and what they share counted once."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from measure.field.several.repeats import Overlap
    from measure.model import Picture
    from measure.output.field_run import FieldJob, FieldOutcome

_HELD = 4  # decoded pictures held while pairs are compared


@dataclass(frozen=True)
class CountedOnce:
    """Measured fields after counting once, and the overlaps among them by their places."""

    measured: list[tuple["FieldJob", str, "FieldOutcome"]]
    links: dict[tuple[int, int], "Overlap"]
    shared: int

    @property
    def lines(self) -> list[str]:
        """What to say."""
        if not self.links:
            return ["No two fields overlap."]
        names = [outcome.name for _, _, outcome in self.measured]
        pairs = ", ".join(f"{names[i]} and {names[j]}" for i, j in self.links)
        pieces = "1 piece they share is" if self.shared == 1 else f"{self.shared} pieces they share are"
        return [f"Overlapping fields: {pairs}; {pieces} counted once."]

    @property
    def as_json(self) -> list[dict]:
        """The overlaps as plain values."""
        names = [outcome.name for _, _, outcome in self.measured]
        return [
            {
                "first": names[i],
                "second": names[j],
                "shift_px": list(link.shift_px),
                "angle_deg": link.angle_deg,
                "share": link.share,
                "correlation": link.correlation,
                "residual_px": link.residual_px,
            }
            for (i, j), link in self.links.items()
        ]


class _Pictures:
    """The pictures of jobs, each decoded when it is asked for."""

    def __init__(self, jobs: list["FieldJob"]) -> None:
        from functools import lru_cache

        from measure.picture_file import read_picture

        self._jobs = jobs
        self._read = lru_cache(maxsize=_HELD)(lambda place: read_picture(jobs[place].path, jobs[place].name))

    def __len__(self) -> int:
        return len(self._jobs)

    def __getitem__(self, place: int) -> "Picture":
        return self._read(place)


def count_shared_once(measured: list[tuple["FieldJob", str, "FieldOutcome"]]) -> CountedOnce:
    """Find the overlaps among measured fields, and set their shared pieces aside in all but one."""
    from measure.field.several.stitch import find_links
    from measure.output.field_run import field_row, overlay_png, result_table, write_overlay
    from measure.sizes.count_once import ALSO_ON, MeasuredField, count_once

    pictures = _Pictures([job for job, _, _ in measured])
    links = find_links(pictures)
    results = [outcome.kept_result() for _, _, outcome in measured]
    fields = [
        MeasuredField(o.name, r.frame, r.particles) for (_, _, o), r in zip(measured, results, strict=True)
    ]
    again, shared = list(measured), 0
    for place, particles in count_once(fields, links).items():
        job, key, outcome = measured[place]
        shared += sum(str(reason).startswith(ALSO_ON) for reason in particles["set_aside"])
        result = replace(results[place], particles=particles)
        if job.overlay_path is not None:  # drawn when it was not known yet which pieces another field counts
            write_overlay(job.overlay_path, overlay_png(pictures[place], particles))
        table = result_table(result, job.scale, job.models, job.batch, job.name)
        row = {
            **outcome.row,
            **field_row(
                job.name,
                sha256=outcome.row["sha256"],
                frame=result.frame,
                scale=job.scale,
                smallest_um=outcome.row["smallest_um"],
                table=table,
                batch=job.batch,
                quality=result.quality,
            ),
            "warnings": outcome.row["warnings"],
        }
        again[place] = (job, key, replace(outcome, result=result, table=table, row=row))
    return CountedOnce(again, links, shared)
