"""The report of one job: a single HTML file in which every value leads back to its photo or clip."""
