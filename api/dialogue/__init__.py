"""The conversation: what words, photos and taps do to proposals and records."""
