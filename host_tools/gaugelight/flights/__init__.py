"""Flights: fetched from the box's flight log."""
