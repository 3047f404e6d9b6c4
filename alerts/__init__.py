"""What is wrong, since when, and who knows: conditions, alarm lifecycle, loop faults. No I/O, no clock."""
