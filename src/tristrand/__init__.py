"""Tristrand: the electrical system of a converted vehicle, computed and checked from one folder."""

__version__ = "0.1.0"
