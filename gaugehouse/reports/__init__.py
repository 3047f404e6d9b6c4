"""Reports: one declarative model (`model`), makers of it (a file each), and writers that know no report by name."""
