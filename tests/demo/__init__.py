"""The demo club: its plan, its making, its place, its command."""
