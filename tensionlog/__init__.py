"""Tension-loss data logger for a racket-stringing machine."""
