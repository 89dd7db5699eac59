import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.measurements import FoundOffset
from glimsum_jobs.tracks import Knock, PassTrack, Placed
from glimsum_workers.steady_test.pictures import draw_left, plot_offsets, plot_track
from glimsum_workers.steady_test.regions import Left, RegionLeft, lay_grid

BLUE, INK, SIGN = (20, 80, 140), (30, 30, 30), (255, 214, 90)


def where(picture: NDArray[np.uint8], colour: tuple[int, int, int]) -> NDArray[np.intp]:
    """Rows and columns of a colour, title, key and numbers left out."""
    return np.argwhere((picture[34:-46, 62:] == colour).all(axis=2))


def track(knocks: tuple[Knock, ...] = ()) -> PassTrack:
    placed = Placed(
        dx=0.2, dy=-0.1, rotation_deg=0, scale=1, sigma_px=0.05, trusted=True, source="measured"
    )
    return PassTrack(frames=dict.fromkeys(range(1001, 1006), placed), knocks=knocks)


def test_a_knock_is_an_upright_line_between_its_frames() -> None:
    plain = plot_track("lamp", track())
    knocked = plot_track("lamp", track((Knock(frame=1004, dx=1, dy=0),)))
    columns = np.flatnonzero(((plain != knocked).any(axis=2)).sum(axis=0) > 40)
    # Frames 1001 and 1005 stand 16 pixels inside the plot, from 60 to 624.
    assert columns.tolist() == [round(76 + (608 - 76) * 2.5 / 4)]


def test_the_best_start_offset_stands_highest_and_is_marked() -> None:
    scores: dict[int, tuple[float | None, ...]] = {
        offset: (3 / (1 + abs(offset - 2)),) * 3 for offset in range(-4, 7)
    }
    sync = FoundOffset(margin=0.5, certain=True, frames=(1001, 1004, 1008), scores=scores)

    blue = where(plot_offsets("lamp", sync, 2), BLUE)

    top = blue[blue[:, 0] == blue[:, 0].min(), 1].mean() + 62
    chosen = 76 + (608 - 76) * (2 + 4) / 10
    assert abs(top - chosen) < 2


def test_an_offset_that_was_not_compared_on_every_frame_is_hollow() -> None:
    whole = FoundOffset(margin=0.5, certain=True, frames=(1, 2), scores={0: (1.0, 1.0)})
    part = FoundOffset(margin=0.5, certain=True, frames=(1, 2), scores={0: (1.0, None)})
    assert len(where(plot_offsets("lamp", part, 0), BLUE)) < len(
        where(plot_offsets("lamp", whole, 0), BLUE)
    )


def test_arrows_are_drawn_where_something_sure_is_left() -> None:
    grid = lay_grid((540, 960))
    sure, ring = (
        RegionLeft(
            row=row,
            column=5,
            x=440,
            y=(row + 0.5) * 540 / 7,
            dx=0.2,
            dy=0,
            sigma_px=sigma,
            p50_px=0.2,
            p95_px=0.2,
            frames=3,
        )
        for row, sigma in ((1, 0.01), (5, 0.2))
    )
    left = Left(grid, (sure, ring), p50_px=0.2, p95_px=0.2, sigma_px=0.1, frames=3)

    picture = draw_left("lamp", left, np.zeros((540, 960, 3), np.uint8))

    yellow = np.argwhere((picture == SIGN).all(axis=2)) - [28, 8]
    upper, lower = yellow[yellow[:, 0] < 270], yellow[yellow[:, 0] > 270]
    # 0.2 px, 200 times as long: 40 pixels to the right, from x 440.
    assert (upper[:, 1].min(), upper[:, 1].max()) == (440, 480)
    assert np.abs(lower - [424, 440]).max() < 6
