"""English, written last and only here: from the facts of findings, steps, axes, notices and plans.

One module for each family of rules; nothing outside reads, splits or compares what is written here.
"""
