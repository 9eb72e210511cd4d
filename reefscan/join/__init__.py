"""From stations to features and candidates, once, after the tiles."""
