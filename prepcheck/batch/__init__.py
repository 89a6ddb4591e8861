"""Many photos at once: where they come from, who works on them, one table out of them."""
