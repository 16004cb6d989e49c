"""The panel that box, needles, lamps and switches stand on: its cutouts, and a sheet to drill it by."""
