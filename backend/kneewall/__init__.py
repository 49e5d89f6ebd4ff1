"""Kneewall: measure, calculate, check and record work on attic air conditioners."""

__version__ = "0.1.0"
