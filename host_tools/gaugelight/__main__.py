"""The command's first step: Ctrl-C while the rest is being loaded ends it without a word."""

import signal
import sys


def run() -> int:
    before = signal.signal(signal.SIGINT, signal.SIG_DFL)
    from gaugelight.cli import run

    signal.signal(signal.SIGINT, before)
    return run()


if __name__ == "__main__":
    sys.exit(run())
