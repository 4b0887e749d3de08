"""From a need to a job that a crew can build: passes, lifts, loads, water, hours, cost."""
