"""The version, where every room can name it without importing the package's head."""

__version__ = "0.1.0"
