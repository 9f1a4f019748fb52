"""A general reader of print that looks at a display where our own reader is not sure of digits or unit.

It was trained by others on other pictures, so that where the two agree they are seldom both wrong; and it reads small
print, units among it. `networks.py` runs its two networks (one finds lines of text, one reads a line), `lines.py`
reads all lines on a display, `files.py` says which files they are, `loading.py` where they are looked for. Without it
everything works, with fewer acceptances and fewer units.
"""
