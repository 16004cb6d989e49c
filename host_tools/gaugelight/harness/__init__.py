"""The wiring around the box: connectors, cables, what must hold of them, the sheet to build from, the compass beside them."""
