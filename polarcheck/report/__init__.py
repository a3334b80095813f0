"""Results to text, JSON and pictures. Shows, never computes."""
