"""A repair job on disk: its sheet, its notebook, its recordings, pictures and photos."""
