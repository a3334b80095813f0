"""The answers on a terminal: no colour, readable under a red lamp, wrapped to its width."""
