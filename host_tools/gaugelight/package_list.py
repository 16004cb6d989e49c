"""Keeps the two lists that `mpremote mip` installs the firmware by: firmware/package.json and firmware/whole.

    python -m gaugelight.package_list

To be run after every change to the firmware: `whole` carries the sizes that firmware/main.py judges a folder by.
"""

import json
import sys
from pathlib import Path

import gaugebox

FIRMWARE = Path(gaugebox.__file__).parents[1]
FOLDER = "firmware_a"


def current_lists() -> dict[str, str]:
    """What each list must say, by its name."""
    modules = [f"gaugebox/{path.name}" for path in sorted((FIRMWARE / "gaugebox").glob("*.py"))]
    sizes = [f"{name} {(FIRMWARE / name).stat().st_size}" for name in modules]
    # `whole` after what it lists, so that a copy cut short is no whole one
    urls = [[f"{FOLDER}/{name}", name] for name in [*modules, "whole"]] + [["main.py", "main.py"]]
    return {
        "whole": "\n".join(["0", *sizes, ""]),
        "package.json": json.dumps({"version": gaugebox.VERSION, "urls": urls}, indent=2) + "\n",
    }


def main() -> int:
    for name, text in current_lists().items():
        (FIRMWARE / name).write_text(text, newline="\n")
    print(f"written: whole and package.json in {FIRMWARE}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
