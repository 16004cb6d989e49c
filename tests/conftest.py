"""What more than one test file needs."""

import subprocess
import sys
from pathlib import Path

import pytest

TYPINGS = Path(__file__).parent.parent / ".typings"


@pytest.fixture(scope="session")
def typings() -> Path:
    """The folder with the published stubs of the board's modules, fetched once."""
    if not (TYPINGS / "machine.pyi").exists() or not (TYPINGS / "stdlib").exists():
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--upgrade", "--target"]
        command += [str(TYPINGS), "micropython-rp2-stubs", "micropython-stdlib-stubs"]
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode:
            pytest.skip(f"the board stubs cannot be installed: {done.stderr.strip().splitlines()[-1:]}")
    return TYPINGS
