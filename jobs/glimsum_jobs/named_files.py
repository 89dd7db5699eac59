"""Every file a job names, with its place in the job."""

from collections.abc import Iterator

from glimsum_jobs.mattes import PictureMatte
from glimsum_jobs.shot import ShotJob

FilePlace = tuple[str, ...]


def named_files(job: ShotJob) -> Iterator[tuple[FilePlace, str]]:
    """Yield the path of everything that is read, pattern or file, with its place in the job."""
    for name, each in job.passes.items():
        yield ("passes", name, "files"), each.files
        if each.alignment is not None:
            plain = isinstance(each.alignment_frame, str)
            place = ("passes", name, "alignment_frame")
            yield (place if plain else (*place, "file")), each.alignment.file
    for name, matte in job.mattes.items():
        if isinstance(matte, PictureMatte):
            yield ("mattes", name, "files"), matte.files
    for name, insert in job.inserts.items():
        yield ("inserts", name, "files"), insert.files
    for name, element in job.elements.items():
        yield ("elements", name, "files"), element.files
