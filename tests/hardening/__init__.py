"""What must end in a clear message, lose nothing and go on by itself: disks, clocks, names, rights, hostile input."""
