"""An invented district, from a seed, for the demo, benchmarks and tests."""
