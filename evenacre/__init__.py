"""Evenacre: an exact account of seeded and fertilized ground."""

__version__ = "0.1.0"
