"""Simulated visits: circuits whose true state is known, judged by grading from what a technician confirmed.

`python -m tests.grading.simulation --visits 100000 --seed 1` prints how often a faulty circuit whose readings could
show it was called acceptable, how often a healthy one was called unacceptable, and how often the right part was blamed.
"""
