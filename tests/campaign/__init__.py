"""Robustness campaign: the same jumps under bad conditions, and hours without a jump.

In: simulated movements with exact truth. Out: two printed tables, made by
``python -m tests.campaign.matrix`` and ``python -m tests.campaign.no_jumps``.
"""
