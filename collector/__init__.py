"""Asks the buses, checks every answer, times it. Knows nothing of tanks, stores or alarms."""
