"""Logs of soundings and tides of any form as tables."""
