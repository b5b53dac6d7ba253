"""Measurements that print tables: run by hand, asserted nowhere."""
