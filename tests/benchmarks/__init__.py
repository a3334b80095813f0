"""Benchmarks: they print the figures that the docs quote; nothing here is a timed test."""
