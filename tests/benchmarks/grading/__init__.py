"""How long grading takes, and how much memory."""
