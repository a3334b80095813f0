"""A night as one self-contained page of HTML."""
