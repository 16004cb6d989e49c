"""From a drained tank, or a pump and a test gauge, to points in the box file: taken, judged, written, drawn."""
