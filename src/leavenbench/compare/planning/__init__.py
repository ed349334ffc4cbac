"""How many refeeds and readings, and when, it takes to see a difference: by simulation at the shelf's own noise."""
