"""The version of benchrig."""

__version__ = "0.8.0"
