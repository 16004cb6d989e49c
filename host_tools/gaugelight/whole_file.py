"""Text files read and written as a whole: a cut leaves the old one or the new one. What has several pages has a file for each."""

import os
import shutil
import stat
import sys
from pathlib import Path

from gaugelight.problems import Misuse, Problem, WrongBoxFile

OLD_PAGE = "{}: a page of an older, longer set; delete it before you print all"


def read_text(path: Path) -> str:
    """With its own ends of lines. Raises Misuse where it cannot be read, WrongBoxFile where it is no text."""
    try:
        return path.read_bytes().decode("utf-8")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise WrongBoxFile(str(path), [Problem(0, "file", "is not text in UTF-8")]) from None


def refuse_read_only(path: Path) -> None:
    """Raises Misuse where there is a file that is marked so."""
    real = path.resolve()
    if real.is_file() and not real.stat().st_mode & stat.S_IWUSR:
        raise Misuse(f"{path}: is read-only; not written")


def page_files(path: Path, many: int) -> list[Path]:
    """Files for as many pages: the one named, and from the second page on that with the page's number. Raises Misuse where one of them
    is read-only, before any is written: half a new set is worse than an old one."""
    files = [path, *(_page(path, number) for number in range(2, many + 1))]
    for file in files:
        refuse_read_only(file)
    return files


def old_pages(path: Path, many: int) -> list[Path]:
    """What a longer set has left there beyond as many pages: whoever prints all would print those too. Of pictures only: a table or
    a .pdf is one file, and what is named like a page of it is another's."""
    if path.suffix.lower() not in (".svg", ".png"):
        return []
    old: list[Path] = []
    while (file := _page(path, many + 1 + len(old))).is_file():
        old.append(file)
    return old


def _page(path: Path, number: int) -> Path:
    return path.with_name(f"{path.stem}_{number}{path.suffix}")


def write_whole(path: Path, text: str) -> None:
    """A file as a whole: whoever cuts the power finds the old or the new one. Raises Misuse where it cannot be written, and where the
    file is marked read-only: that its folder lets it be replaced is not what its owner meant."""
    refuse_read_only(path)
    real = path.resolve()  # a link stays one
    beside = real.with_name(real.name + ".new")
    try:
        try:
            with open(beside, "w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            if real.exists():
                shutil.copymode(real, beside)
            os.replace(beside, real)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
        if sys.platform != "win32":
            folder = os.open(real.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as problem:
        raise Misuse(f"{path}: cannot be written: {problem.strerror}") from None
