from fractions import Fraction

import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.frames.timecodes import Timecode

NTSC = Fraction(30000, 1001)


# SMPTE ST 12-1 drop-frame: labels ;00 and ;01 are dropped each minute but the tenth. The pairs
# come from memory of the rule and agree with each other over a whole day.
@pytest.mark.parametrize(
    ("count", "label"),
    [
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (17981, "00:09:59;29"),
        (17982, "00:10:00;00"),
        (107892, "01:00:00;00"),
        (2589407, "23:59:59;29"),
        (2589408, "00:00:00;00"),
    ],
)
def test_drop_labels_follow_the_standard(count: int, label: str) -> None:
    assert str(Timecode.of_frame(count, NTSC, drop=True)) == label


def test_labels_without_drop_count_every_frame() -> None:
    assert str(Timecode.of_frame(86400, Fraction(24000, 1001))) == "01:00:00:00"
    assert str(Timecode.of_frame(1009, Fraction(24))) == "00:00:42:01"


def test_every_label_of_ten_minutes_stands_once() -> None:
    labels = [str(Timecode.of_frame(n, NTSC, drop=True)) for n in range(17983)]

    assert len(set(labels)) == 17983
    assert not any(
        label[3:5] != "00" and label[6:] in ("00;00", "00;01") and label[4] != "0"
        for label in labels
    )


@pytest.mark.parametrize(
    ("count", "rate", "drop"),
    [(-1, Fraction(24), False), (0, Fraction(60), False), (0, Fraction(24000, 1001), True)],
)
def test_what_no_timecode_counts_is_refused(count: int, rate: Fraction, drop: bool) -> None:
    with pytest.raises(LightError, match=rf"no timecode.*frame {count} at {rate}"):
        Timecode.of_frame(count, rate, drop=drop)
