"""How fast this machine is: benchmarks and what they measure with."""
