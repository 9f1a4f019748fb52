"""The whole of it in a real browser: server, page, microphone, photo, confirmation, report."""
