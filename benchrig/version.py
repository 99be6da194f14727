"""The version of benchrig."""

__version__ = "0.6.0"
