"""The version of benchrig."""

__version__ = "0.9.0"
