"""From clips and photos to proposed readings; knows nothing of the web, the database or grading rules."""
