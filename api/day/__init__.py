"""A day's memos and photos in one go: found, stored, recognised, put in order, and handed on as proposals."""
