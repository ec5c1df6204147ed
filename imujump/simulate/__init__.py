"""Ground truth: an athlete's motion with exact events, turned into sensor signals."""
