"""The long soak: a daemon at speed on the simulated farm, a fault somewhere every simulated minute, each stored reading
judged by what the farm really said. `make soak` runs 72 simulated hours, `make test` two."""
