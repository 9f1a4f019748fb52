"""The commands of the command line, one module each; heavy parts are imported when a command runs."""
