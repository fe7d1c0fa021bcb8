"""One file for each form that the tables have had; its number is the revision."""
