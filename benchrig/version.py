"""The version of benchrig."""

__version__ = "0.7.0"
