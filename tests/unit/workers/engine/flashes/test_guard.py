import tracemalloc
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.cues import Cue, cue_gain
from glimsum_jobs.flash_limits import leading_edges, worst_second
from glimsum_workers.engine.flashes.guard import FlashGuard
from glimsum_workers.engine.flashes.screen import Screen
from support.flash_proofs import (
    BLACK,
    FOUR,
    SIZE,
    SMALL,
    WHITE,
    blinks,
    encode,
    grey,
    most,
    watch,
)

Pictures = list[NDArray[np.uint8]]


def plain(series: list[float]) -> Pictures:
    return [np.full((*SMALL, 3), encode(value), np.uint8) for value in series]


def test_a_slow_fade_up_and_down_is_one_flash_at_most() -> None:
    ramp = [*np.linspace(0, 1, 48), *np.linspace(1, 0, 48), *np.linspace(0, 1, 48)]
    assert most(watch(plain(ramp)), "general") <= 1


def test_a_staircase_is_no_flash() -> None:
    steps = [0.2 * (frame // 3) for frame in range(18)]
    assert watch(plain(steps)).found() == []


def test_grain_flashes_nowhere() -> None:
    # Grain of 8 codes rms on a grey of 40 % of the luminance, and in black, on every frame anew.
    random = np.random.default_rng(4)
    for level in (170, 4):
        pictures = [
            np.clip(random.normal(level, 8, (144, 256, 3)), 0, 255).astype(np.uint8)
            for _ in range(24)
        ]
        assert watch(pictures).found() == []


def test_a_slow_pan_over_a_built_set_is_no_flash() -> None:
    # Boards, windows and shadows of every width, two pixels a frame at 256 pixels of width.
    random = np.random.default_rng(7)
    board = np.repeat(random.uniform(0.02, 0.6, 60), random.integers(6, 30, 60))
    set_ = np.repeat(encode(board)[None, :, None], 144, axis=0).repeat(3, axis=2)
    pictures = [set_[:, 2 * frame : 2 * frame + 256] for frame in range(48)]
    assert not any(each.is_over for each in watch(pictures).found())


def test_dark_flashes_count_as_bright_ones_do() -> None:
    assert most(watch(blinks(WHITE, BLACK)), "general") == 4


@pytest.mark.parametrize("rate", [24, 25, 30, 48, 50, 60])
def test_at_any_rate_a_second_is_a_second(rate: int) -> None:
    for flashes in (3, 4):
        apart = -(-rate // flashes)
        lit = [5 + apart * place for place in range(8)]
        pictures = blinks(BLACK, WHITE, lit, count=3 * rate)
        assert most(watch(pictures, rate), "general") == flashes


@pytest.mark.parametrize("rate", [24, 25, 30, 60])
def test_flashes_of_every_other_frame_are_over(rate: int) -> None:
    assert most(watch(blinks(BLACK, WHITE, range(0, 60, 2), count=60), rate), "general") > 3


@pytest.mark.parametrize("seed", range(6))
def test_whole_frames_count_as_the_light_of_their_cues_does(seed: int) -> None:
    # The prediction of the cue sheet follows one number a frame and knows no areas.
    random = np.random.default_rng(seed)
    frames = 4 + np.cumsum(random.integers(4, 12, 10))
    cues = [
        Cue(cue=1.0 + i, frame=int(f), stops=float(random.uniform(-2.5, 0)), up=1, down=3)
        for i, f in enumerate(frames)
    ]
    light = [cue_gain(cues, frame, "light") for frame in range(int(frames[-1]) + 8)]
    expected = max(worst_second(edges, Fraction(24)).flashes for edges in leading_edges(light))
    assert most(watch(plain(light)), "general", "picture") == expected


def test_the_worst_second_says_where_and_when() -> None:
    guard = watch([np.flip(each, (0, 1)) for each in blinks(BLACK, WHITE, box=(70, 70))])
    (found,) = guard.found()
    left, top, right, bottom = guard.screen.box(found.second.place)
    assert found.second.edges == FOUR
    assert guard.over() == list(FOUR)
    # Within the field: the quarter of it that flashes lies at the lower right.
    assert (right - left, bottom - top) in ((85, 64), (86, 64))
    assert right > 256 - 70 + 21
    assert bottom > 144 - 70
    assert guard.screen.enlarge(found.second.cells).sum() == 70 * 70


def test_the_displays_read_their_codes_by_their_own_curves() -> None:
    # Code 90: 0.1022 as sRGB; by the power 2.4 (ITU-R BT.1886, black 0) 0.0822, by 2.2 0.1012.
    told = {
        display: most(watch(blinks(BLACK, grey(90)), display=display), "general")
        for display in ("srgb_rec709_display", "g24_rec709_display", "g22_rec709_display")
    }
    assert list(told.values()) == [4, 0, 4]


@pytest.mark.parametrize("size", [(1080, 1920), (803, 1920), (37, 64), (768, 1024), (2, 64)])
def test_cells_cover_every_pixel_once(size: tuple[int, int]) -> None:
    screen = Screen(*size)
    everything = np.ones((screen.rows, screen.columns), np.bool_)
    scale = min(1024 / size[1], 768 / size[0])
    areas = screen.areas(everything)
    assert screen.enlarge(everything).shape == size
    assert areas[0] == pytest.approx(size[0] * size[1] * scale * scale)
    inside = min(341, size[1] * scale) * min(256, size[0] * scale)
    np.testing.assert_allclose(areas[1:], inside, rtol=1e-9)


def test_a_quarter_of_a_field_is_the_published_area() -> None:
    # WCAG 2.2, understanding of 2.3.1: 25 % of 341 x 256 is 21,824 pixels.
    assert set(Screen(768, 1024).limits[1:].tolist()) == {21824.0}


def test_cells_hold_the_mean_light_of_their_pixels() -> None:
    codes = np.random.default_rng(3).integers(0, 256, (47, 3000, 3), dtype=np.uint8)
    table = np.linspace(0, 1, 256, dtype=np.float32) ** 2
    screen = Screen(47, 3000)
    told = screen.light(codes, table)
    left = np.rint(np.linspace(0, 3000, screen.columns + 1)).astype(int)
    top = np.rint(np.linspace(0, 47, screen.rows + 1)).astype(int)
    for row, column in ((0, 0), (screen.rows - 1, 100), (2, screen.columns - 1)):
        part = codes[top[row] : top[row + 1], left[column] : left[column + 1]]
        expected = (part / 255.0) ** 2
        np.testing.assert_allclose(told[row, column], expected.mean((0, 1)), atol=1e-6)


def test_no_frame_is_kept() -> None:
    pictures = blinks(BLACK, WHITE, range(0, 200, 3), box=SIZE, count=14)
    tracemalloc.start()
    guard = FlashGuard(*SIZE, Fraction(24), "srgb_rec709_display")
    held = []
    for picture in pictures:
        guard.look(picture)
        held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert held[-1] - held[8] < 2 * pictures[0].nbytes
