"""What a place might be instead of structure: one table, one judge a file."""
