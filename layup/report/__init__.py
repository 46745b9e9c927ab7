"""How is a result shown: the means of the screen, of paper and of pictures, and surfaces drawn with them."""
