"""Exports of visits small and large: how long they take, how large they are, and how long verifying them takes."""
