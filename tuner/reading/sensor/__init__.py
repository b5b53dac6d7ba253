"""Recordings over time: the clock, a sensor at the end of its range, a travel sensor while driving."""
