"""Text files read and written as a whole: a cut leaves the old one or the new one."""

import os
import shutil
import stat
import sys
from pathlib import Path

from gaugelight.problems import Misuse, Problem, WrongBoxFile


def read_text(path: Path) -> str:
    """With its own ends of lines. Raises Misuse where it cannot be read, WrongBoxFile where it is no text."""
    try:
        return path.read_bytes().decode("utf-8")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise WrongBoxFile(str(path), [Problem(0, "file", "is not text in UTF-8")]) from None


def write_whole(path: Path, text: str) -> None:
    """A file as a whole: whoever cuts the power finds the old or the new one. Raises Misuse where it cannot be written, and where the
    file is marked read-only: that its folder lets it be replaced is not what its owner meant."""
    real = path.resolve()  # a link stays one
    if real.is_file() and not real.stat().st_mode & stat.S_IWUSR:
        raise Misuse(f"{path}: is read-only; not written")
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
