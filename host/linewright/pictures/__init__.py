"""Pictures and reports of what will be drawn and what was drawn."""
