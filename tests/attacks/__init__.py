"""Random attacks on exports and data folders: each found, or one that is said to be beyond proof."""
