"""The words a description file may use: gauges, insulations, curves, classes, chemistries.

Each table maps a name as a person writes it to one known entry, and raises `UnknownName` (a ValueError
whose fields and text carry what was found, the nearest known names and the mend) for anything else. The
readers of the description files add the file, the line and the key.
"""
