"""Reading and writing files of music."""
