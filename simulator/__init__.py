"""A fuel farm that answers on Modbus, with physics and faults of its own (imports nothing of `models`)."""
