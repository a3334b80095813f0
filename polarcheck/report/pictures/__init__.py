"""The answers as pictures, PNG or SVG, by matplotlib."""
