"""Flights that were recorded: read, replayed through the box's own code, looked at for what changes over weeks."""
