"""From a drained tank, or a gauge held against a reference, to breakpoints whose error is stated."""
