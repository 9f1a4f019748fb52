"""A second engine that judges what the first one heard: how likely the sound is under each candidate's words.

It is of another kind than vosk, trained by others on other speech, so that where the two agree they are seldom both
wrong. `engine.py` says what such an engine must be able to do; `moonshine.py` is the one in use.
"""
