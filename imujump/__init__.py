"""Measures approach jumps from inertial sensors worn on both shanks and the pelvis."""
