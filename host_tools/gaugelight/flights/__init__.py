"""Flights that were recorded: fetched from the box, replayed through its own code, looked at for what changes over weeks."""
