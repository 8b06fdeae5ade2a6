"""Washbell: school toilets, napkin machines, incinerators and lessons, week by week."""

__version__ = "0.1.0"
