"""Where the program touches the world: files, clocks, the text that people write."""
