"""The watch list: evidence of decline, standing, rounds left."""
