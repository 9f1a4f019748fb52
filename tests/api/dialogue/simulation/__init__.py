"""Simulated visits over the dialogue's machine: ears, eyes and people that err as measured, truth known.

    python -m tests.api.dialogue.simulation [--visits 1000] [--seed 7]

The machine, the safety steps, the doubts (`capture.completeness`) and the sentences are the product's own; the desk
that keeps the proposals is a plain dictionary instead of a database, since so many readings would take hours there.
"""
