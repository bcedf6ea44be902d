"""Tension-loss data logger for a racket-stringing machine."""

__version__ = "0.1.0"
