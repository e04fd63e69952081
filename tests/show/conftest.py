"""Stand-ins for this room's tests."""

from tests.standins import cache, card, card_made, engine, outing, sweep_error

__all__ = ["cache", "card", "card_made", "engine", "outing", "sweep_error"]
