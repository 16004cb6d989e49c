"""The firmware against the published stubs of the board's modules (micropython-rp2-stubs, micropython-stdlib-stubs)."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def mypy(*files: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "mypy", "--config-file", "firmware/mypy.ini", *files]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True)


def test_the_firmware_fits_the_board(typings: Path) -> None:
    done = mypy()
    assert done.returncode == 0, done.stdout + done.stderr


def test_control_what_the_board_does_not_have_is_found(typings: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text('import machine\nlamp = machine.PWM(machine.Pin(15), freq="4 kHz")\nlamp.duty_u17(1)\n')
    said = mypy(str(wrong)).stdout
    assert "[arg-type]" in said or "[call-overload]" in said, said
    assert 'has no attribute "duty_u17"' in said, said
