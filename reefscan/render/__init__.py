"""Pictures and PDF pages as bytes."""
