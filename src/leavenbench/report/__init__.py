"""What people look at: tables for the terminal and for files."""
