"""Tests of the program; benchmarks in `benchmarks`."""
