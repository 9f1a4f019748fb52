"""The server under load: many clients that send real clips at once, and somebody who looks at pages meanwhile."""
