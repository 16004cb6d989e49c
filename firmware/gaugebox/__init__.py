"""The box: everything that runs on it, and under CPython with the same bytes."""

VERSION = "0.5.1"
