from fractions import Fraction

import pytest

from glimsum_workers.frames.timecodes import Timecode

DROP = Fraction(30000, 1001)


@pytest.mark.parametrize(
    ("first", "count", "label"),
    [
        # SMPTE ST 12-1 labels (from memory; reproduced by arithmetic).
        (Timecode(0, 0, 59, 29, drop=True), 1, "00:01:00;02"),
        (Timecode(0, 9, 59, 29, drop=True), 1, "00:10:00;00"),
        (Timecode(0, 59, 59, 29, drop=True), 1, "01:00:00;00"),
        (Timecode(0, 1, 0, 2, drop=True), 0, "00:01:00;02"),
    ],
)
def test_a_drop_label_goes_on_as_the_standard_counts(
    first: Timecode, count: int, label: str
) -> None:
    assert str(first.later(count, DROP)) == label


def test_a_plain_label_passes_midnight() -> None:
    assert str(Timecode(23, 59, 59, 23).later(1, Fraction(24))) == "00:00:00:00"
