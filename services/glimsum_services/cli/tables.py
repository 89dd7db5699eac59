"""Tables in plain text: columns as wide as they need, numbers to the right."""

from collections.abc import Sequence


def table_lines(heading: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """Return heading and rows as aligned lines; a column of numbers only stands to the right."""
    words = [[str(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(heading, *words, strict=True)]
    right = [bool(rows) and all(isinstance(c, int | float) for c in column)
             for column in zip(*rows, strict=True)] or [False] * len(heading)  # fmt: skip
    lines = []
    for line in (list(heading), *words):
        cells = [
            cell.rjust(width) if numbers else cell.ljust(width)
            for cell, width, numbers in zip(line, widths, right, strict=True)
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def size_words(count: int) -> str:
    """Return a number of bytes in words, powers of 1024 (IEC 80000-13)."""
    size, units = float(count), ["bytes", "KiB", "MiB", "GiB", "TiB"]
    while size >= 1024 and len(units) > 1:
        size /= 1024
        units.pop(0)
    return f"{count} bytes" if units[0] == "bytes" else f"{size:.1f} {units[0]}"
