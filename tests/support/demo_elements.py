"""Makes what the demo lays into its passes: a lit tide board and a loop of rain.

    python tests/support/demo_elements.py services/glimsum_services/demo/elements

Both are drawn by numbers, from one seed; nothing is photographed.
"""

import sys
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

BOARD = (800, 400)
"""Width and height: twice as wide as high, as the board on the shed."""
RAIN = (960, 540)
LOOP = 24
"""Pictures of rain until the first comes again."""


def draw_board() -> Image.Image:
    """Return the tide board: amber on night blue, two lines, a frame."""
    board = Image.new("RGB", BOARD, (10, 16, 34))
    pen = ImageDraw.Draw(board)
    pen.rectangle((14, 14, BOARD[0] - 15, BOARD[1] - 15), outline=(120, 84, 30), width=8)
    for words, size, down, ink in (
        ("HIGH WATER", 92, 118, (214, 150, 48)),
        ("21:40", 190, 258, (255, 186, 66)),
    ):
        font = ImageFont.load_default(size)
        pen.text((BOARD[0] / 2, down), words, font=font, fill=ink, anchor="mm")
    return board


def draw_rain(streaks: int = 900) -> list[NDArray[np.uint8]]:
    """Return a loop of pictures: thin streaks on black that fall whole pictures a loop."""
    chance = np.random.default_rng(40)
    width, height = RAIN
    x, y = chance.uniform(0, width, streaks), chance.uniform(0, height, streaks)
    near = chance.uniform(0.25, 1, streaks)
    falls = np.maximum(1, np.round(6 * near))
    """Pictures fallen a loop: whole, so that the last runs into the first."""
    pictures = []
    for number in range(LOOP):
        light = np.zeros((height, width))
        for each in range(streaks):
            speed = falls[each] * height / LOOP
            top = y[each] + number * speed
            length = 0.5 * speed  # the shutter is open for half a frame
            steps = np.arange(0, length, 0.5)
            down = (top + steps) % height
            across = (x[each] + 0.06 * (top + steps - y[each])) % width
            for shift in (0, 1):
                share = (1 - across % 1) if shift == 0 else across % 1
                places = down.astype(int) % height, (across.astype(int) + shift) % width
                np.add.at(light, places, 0.5 * share * near[each] ** 2)
        codes = 255 * np.clip(0.55 * light, 0, 1) ** (1 / 2.4)
        pictures.append(codes.astype(np.uint8))
    return pictures


def write_clip(pictures: list[NDArray[np.uint8]], file: Path) -> None:
    """Write grey pictures as an H.264 clip, limited range."""
    with av.open(str(file), "w") as clip:
        stream = clip.add_stream("libx264", rate=24, options={"crf": "18", "preset": "slow"})
        stream.width, stream.height, stream.pix_fmt = *RAIN, "yuv420p"
        for picture in pictures:
            frame = av.VideoFrame.from_ndarray(np.repeat(picture[..., None], 3, 2), "rgb24")
            clip.mux(stream.encode(frame.reformat(format="yuv420p", dst_colorspace="ITU709")))
        clip.mux(stream.encode())


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    draw_board().save(folder / "tide_board.png", optimize=True)
    write_clip(draw_rain(), folder / "rain.mp4")
