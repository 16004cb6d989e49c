"""The box's own loop under CPython: `gaugebox.app` names the chip's modules, and of them nothing is called until a board calls it."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugebox.app import App


def application() -> type[App]:
    """gaugebox.app.App; modules that only the chip has stand empty while it is imported."""
    absent = [name for name in ("framebuf", "machine", "micropython") if name not in sys.modules]
    sys.modules.update({name: ModuleType(name) for name in absent})
    try:
        from gaugebox.app import App
    finally:
        for name in absent:
            del sys.modules[name]
    return App
