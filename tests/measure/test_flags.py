"""Reasons for setting a piece aside: what is kept stays as it is, what is told is what is known."""

from measure.flags import FLAGS, reason_words
from measure.sizes.sample import sample_from_table
from measure.sizes.summary import summarise


def test_a_drop_is_not_called_a_bubble_of_air():
    # a drop of water in oil and a bubble of air are both round, with a ring and a bright middle
    assert "drop" in FLAGS["bubble"].text
    assert reason_words("air bubble") == "bubble or drop"
    assert reason_words("my own words") == "my own words"


def test_sizes_tell_it_in_words_and_keep_the_reason_of_the_table():
    columns = {
        "area_equivalent_diameter_um": [10.0, 20.0, 30.0],
        "counted": [1, 0, 1],
        "set_aside_reason": ["", "air bubble", ""],
    }
    summary = summarise(sample_from_table(columns), resamples=0)
    assert dict(summary.left_out) == {"air bubble": 1}
    assert "1 (bubble or drop)" in " ".join(summary.notes)
