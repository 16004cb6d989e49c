"""Flights: fetched from the box's flight log, read back, replayed through the box's own code, looked at for what changes over weeks."""
