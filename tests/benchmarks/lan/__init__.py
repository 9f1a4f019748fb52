"""What the way over the network costs."""
