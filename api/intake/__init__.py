"""The way in: a clip or photo is stored, recognised, and handed to the conversation."""
