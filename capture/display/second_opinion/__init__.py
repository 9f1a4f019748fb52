"""A general reader of text that is asked about the line of digits where our own reader is neither sure nor hopeless.

It was trained by others on other pictures, so that where the two agree they are seldom both wrong. `recogniser.py` runs
it and compares; `files.py` says which file it is, `loading.py` where it is looked for. Without it everything works, with
fewer acceptances.
"""
