"""The shipped harbour passes at twice or four times their size, for benches of whole shots.

Pictures are enlarged by OpenCV, the clip frame by frame by FFmpeg's scaler: as much work as larger
pictures, not more detail.
"""

from pathlib import Path

import av
import cv2
from av.video.stream import VideoStream


def enlarge_passes(passes: Path, folder: Path, times: int) -> Path:
    """Write all passes `times` as large into `folder` and return it."""
    for file in sorted(passes.rglob("*")):
        made = folder / file.relative_to(passes)
        if file.suffix in {".jpg", ".tif"}:
            made.parent.mkdir(parents=True, exist_ok=True)
            _enlarge_picture(file, made, times)
        elif file.suffix == ".mp4":
            made.parent.mkdir(parents=True, exist_ok=True)
            _enlarge_clip(file, made, times)
    return folder


def _enlarge_picture(file: Path, made: Path, times: int) -> None:
    pixels = cv2.imread(str(file), cv2.IMREAD_UNCHANGED)
    assert pixels is not None, file
    large = cv2.resize(pixels, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
    options = [cv2.IMWRITE_JPEG_QUALITY, 95] if made.suffix == ".jpg" else []
    assert cv2.imwrite(str(made), large, options)


def _enlarge_clip(file: Path, made: Path, times: int) -> None:
    with av.open(str(file)) as source, av.open(str(made), "w") as target:
        given = source.streams.video[0]
        assert given.average_rate is not None
        stream = target.add_stream("libx264", given.average_rate, {"crf": "14"})
        assert isinstance(stream, VideoStream)
        stream.width, stream.height = times * given.width, times * given.height
        stream.pix_fmt = given.pix_fmt
        stream.color_range = given.color_range
        for frame in source.decode(given):
            large = frame.reformat(width=stream.width, height=stream.height)
            target.mux(stream.encode(large))
        target.mux(stream.encode(None))
