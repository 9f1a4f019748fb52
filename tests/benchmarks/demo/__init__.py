"""The whole demo as one process: wall time, CPU time and peak memory."""
