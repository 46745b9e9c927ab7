"""The day of the layup: flat patterns, cloth to cut, resin to mix, the bag, the sheet on the wall."""
