"""What is remembered: the time series and the append-only record book. Knows no tanks and no alarms."""
