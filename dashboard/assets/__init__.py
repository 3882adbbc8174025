"""Styles, fonts and scripts of the pages; a package so that they are shipped with the code."""
