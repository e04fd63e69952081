"""Keepers, missed planes and merged pictures from handheld macro bursts and focus sweeps."""

__version__ = "0.1.0"
