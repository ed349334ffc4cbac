"""Where the cultures stand: the calendar of rounds, rooms, refrigerators, flour, jars, and what befalls many jars."""
