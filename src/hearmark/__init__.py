"""Hearmark finds who a split-working station answers, and where it listens next."""

__version__ = "0.1.0"
