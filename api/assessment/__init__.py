"""A visit assessed: its records given to grading, over the machine's history and the shop's own limits."""
