"""Gauge studies."""
