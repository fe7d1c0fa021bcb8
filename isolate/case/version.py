"""The version of the program: told in the opening of every case, so that a trail says what it was written by."""

VERSION = "0.2.0"
