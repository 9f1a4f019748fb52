"""The web server: the JSON routes over the workspace, and the page."""
