"""A person over time: what their first passes show, what they miss, how many passes a spot takes; pure."""
