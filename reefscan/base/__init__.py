"""What everything may use: errors, units, the model of a grid, the recipe, the columns of every table."""
