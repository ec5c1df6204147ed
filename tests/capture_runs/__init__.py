"""Long runs of the capture part, each a command of its own; pytest runs short forms of them."""
