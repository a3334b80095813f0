"""How far a telescope mount's polar axis is off, from plate-solved frames."""

__version__ = "0.1.0"
