"""The day of the layup: cloth to cut, resin to mix, the bag, the build sheet."""
