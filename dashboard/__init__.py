"""Everything a person sees: the commands, the sheet and the pages."""
