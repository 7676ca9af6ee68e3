"""What stays on disk."""
